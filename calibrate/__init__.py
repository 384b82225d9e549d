"""Photos of known things -> table: learn, judge and keep what a table needs."""
