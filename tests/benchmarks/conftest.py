"""The scripts here hold no examples to run; their test runs them."""

collect_ignore = ["assemble.py", "suburb.py"]
