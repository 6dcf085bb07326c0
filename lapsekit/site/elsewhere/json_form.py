"""JSON as the site's files hold it."""

import json
from typing import Any


def as_json(content: dict[str, Any]) -> bytes:
    """JSON as a file of the site holds it."""
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8", "replace") + b"\n"
