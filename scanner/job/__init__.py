"""The job room: quantities, stripping method, prices and offers."""
