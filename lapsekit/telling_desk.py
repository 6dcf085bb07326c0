"""What the desk's commands say."""

from pathlib import Path


def password_kept(file: Path) -> list[str]:
    """That there is a password now."""
    return [
        f"{file}: the password's hash is kept; the desk asks for the password from now on",
        "a desk that is open goes on as it was until it is closed and opened again",
    ]


def opened(season: Path, host: str, port: int, has_tls: bool, behind: list[str]) -> list[str]:
    """Where the desk can be opened, and by whom."""
    shown = "127.0.0.1" if host in ("0.0.0.0", "::") else f"[{host}]" if ":" in host else host
    lines = [
        f"the desk of {season.resolve()} is open",
        f"open {'https' if has_tls else 'http'}://{shown}:{port}/ in a browser; Ctrl+C closes it",
    ]
    if behind:
        lines.append(f"it answers what {', '.join(behind)} passes on, and takes that for TLS")
    return lines
