"""The scripts here hold no examples; tests run them."""

collect_ignore = ["analyst.py", "assemble.py", "floor.py", "run.py", "stages.py", "suburb.py"]
