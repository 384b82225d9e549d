"""The archive's parts: database, files, contents, search, standings, what is done with games."""
