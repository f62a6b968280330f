"""Content streams of PDF pages: tokens, and what they paint."""
