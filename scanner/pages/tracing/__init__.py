"""The tracing page: where lots are drawn by hand."""
