"""What people read and take along: words, formats, card, sheet, journal."""
