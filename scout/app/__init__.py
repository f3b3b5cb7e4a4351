"""The jobs: files in, results out."""
