"""The scripts here hold no examples; tests run them."""

collect_ignore = [
    "analyst.py",
    "assemble.py",
    "floor.py",
    "ground.py",
    "run.py",
    "stages.py",
    "suburb.py",
]
