"""Stage: everything a season folder knows -> pages that need nothing but a static web host."""
