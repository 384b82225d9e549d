"""How much a stranger may hand in, in one place; here because every room may import this one.

Each is far above what an evening needs and low enough that its worst case is read within seconds
and within about a gigabyte.
"""

MOST_PHOTO_BYTES = 80_000_000
MOST_PHOTO_PIXELS = 120_000_000
LEAST_PHOTO_SIDE_PX = 240
MOST_JPEG_SCANS = 100
"""Progressive files have about ten; each costs a pass over all pixels and takes few bytes."""

MOST_SHEET_BYTES = 2_000_000
"""A drawn board of 2,500 cells takes about 600,000."""

MOST_CELLS = 10_000

MOST_KEY_PARTS = 64
"""Of a dotted key in TOML; Python's reader needs memory by the square of their number."""

MOST_TEXT_BYTES = 2_000_000
"""Claims, answers, plans."""

MOST_DRAWING_BYTES = 5_000_000
MOST_DRAWN_ELEMENTS = 20_000

MOST_TABLE_BYTES = 80_000_000
"""A table's file; ours have one to five millions."""

MOST_TABLE_PART_BYTES = 60_000_000
"""What one part of a table's file may unpack to."""

MOST_TABLE_PICTURE_PIXELS = 40_000_000
"""A small PNG can unpack to gigabytes."""

MOST_IMPORT_BYTES = {"games": 20_000_000, "photos": 100_000_000, "tables": 100_000_000}
"""What one part of an archive's ZIP may unpack to, by its folder."""

MOST_OTHER_IMPORT_BYTES = 200_000_000
"""What any other part of it may unpack to."""

TIGHTEST_PACKING = 200
"""How many times smaller than its content a part of a ZIP may be; ours reach about 30."""

MOST_REQUEST_BYTES = 512_000
"""What a page may send, but for photos and tables."""

STALL_S = 10.0
"""A request of which nothing comes for so long is given up."""

REQUEST_S = 300.0
"""No request may take longer to come than this, however steadily it trickles."""
