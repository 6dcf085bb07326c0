"""Addresses that try to lead out of a server."""

from urllib.parse import quote

SECRETS = ("season.toml", "catalogue.sqlite", "frames/", ".desk/password", "followers/waiting/")
STEPS = (
    "../",
    "..%2f",
    "%2e%2e/",
    "%2e%2e%2f",
    "..%5c",
    "..\\",
    "....//",
    "..;/",
    "%252e%252e%252f",
)


def tricks(prefixes):
    """Every trick behind each prefix, as it stands in a request's first line."""
    for prefix in prefixes:
        for step in STEPS:
            for depth in (1, 4):
                yield f"{prefix}{step * depth}season.toml"
                yield f"{prefix}{step * depth}etc/passwd"
        for secret in SECRETS:
            yield f"{prefix}{secret}"
            yield f"{prefix}/{secret}"
            yield f"{prefix}{quote(secret, safe='')}"
        for odd in (
            "%00",
            "%00.css",
            "a%00/../",
            "%ff%fe",
            "%c0%ae%c0%ae/",
            "%",
            "%zz",
            "%e2%80%ae",
        ):
            yield f"{prefix}{odd}"
        yield f"{prefix}{'a' * 8000}"
        yield f"{prefix}{'a/' * 3000}"
        yield f"{prefix}file:///etc/passwd"
        yield f"{prefix}|id"
        yield f"{prefix}{{7*7}}"
        yield f"{prefix}x?side=../../etc/passwd&side=%00&a={'b' * 5000}"
