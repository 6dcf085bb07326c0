"""Stage: frames -> a film that browsers play."""
