"""Bytes in, arrays and numbers out: everything that looks at pixels. No files, no clock."""
