"""The self-contained HTML map: findings in, the text of one file out."""
