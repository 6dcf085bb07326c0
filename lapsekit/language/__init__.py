"""The reader's language: words, days and numbers, for pages and films."""
