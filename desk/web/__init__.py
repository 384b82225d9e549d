"""The web desk: one evening's boards snapped, answered and shown from the phones at the table."""
