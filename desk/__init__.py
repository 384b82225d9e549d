"""What people touch: the command line, the score sheet, the archive."""
