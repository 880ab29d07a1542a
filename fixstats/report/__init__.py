"""Findings told as pages: the same blocks as HTML, as Markdown and as CSV; computes nothing."""
