"""
Printed pages: one look, and words on record with their boxes.

::

    paper = Paper(LETTER, title="Quote Q-14")            # look.LETTER or look.A4, landscape=True
    y = paper.head("Quote Q-14", "March 3, 2026", ("Larkspindle", "308-555-0100", ""))
    column = Column.full(paper, y)                       # goes down by itself; column.y may be set
    left, right = column.part(0, 334), column.part(352, column.width)
    left.section("What we build")
    left.bed("A", "18 ft along the curb, 5½ ft deep", "97 ft²")
    left.words("Mulch 3 in deep.")                       # wraps; kinds of type stand in look.py
    left.kept_clear(1, "Drive: low plants only.")
    tracks = [Track("task", 0, 160), Track("planned", 160, 220, "right"), Track("took", 240, 300)]
    left.heads(tracks)
    left.row(tracks, ["Strip the turf", "4.1 h", BLANK])
    right.blank("length A", start=60, end=120, unit="ft")
    right.choices("slope", ["flat", "some", "steep"], start=60)
    column.signatures([("client", 0, 160), ("date", 170, 240)])
    paper.foot("We measure again with you.", f"Page {paper.page}")
    paper.next_page()                                    # then head again
    content = paper.finish()

``look`` has colors, sizes of paper and kinds of type, ``typefaces`` says which letters can be written
and how wide they are, ``sheet`` a document and its marks, ``column`` what goes down a page. Lines
and areas are drawn on ``paper.canvas``; every word goes through ``paper.text``, so that
``paper.boxes`` has them all. ``paper.unwritten`` has the letters that no face has: tell them.
"""
