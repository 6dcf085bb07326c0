"""Tables in, tables out: what daily areas say about growth. No files, clock or database."""
