"""
One lot drawn to scale into a box of a printed page: the same drawing on every page that has one.

::

    scene = set_scene(plan)                       # a LotPlan, see scene.py; turned, kept clear found
    drawn = draw_lot(paper, scene, words, Field(36, 730, 540, most=414, least=280))
    drawn.frame.top, drawn.bottom                 # what it took of the page, its scale line included
    scene.kept                                    # numbers and sentences of what is kept clear
    draw_key_plan(paper, scene, drawn.frame, right, bottom, width, height)   # where drawn.is_part

``words`` has a `BedWords` a bed; with ``blanks`` there is room to write the numbers in instead.
"""
