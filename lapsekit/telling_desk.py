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
    return [
        f"the desk of {season.resolve()} is open",
        f"open {_address(host, port, has_tls)} in a browser; Ctrl+C closes it",
        *_behind(behind),
    ]


def receives(season: Path, host: str, port: int, has_tls: bool, behind: list[str]) -> list[str]:
    """Where pictures are taken in."""
    return [
        f"the upload page of {season.resolve()} is open",
        f"it listens at {_address(host, port, has_tls)}; Ctrl+C closes it",
        *_behind(behind),
    ]


def _address(host: str, port: int, has_tls: bool) -> str:
    shown = "127.0.0.1" if host in ("0.0.0.0", "::") else f"[{host}]" if ":" in host else host
    return f"{'https' if has_tls else 'http'}://{shown}:{port}/"


def _behind(proxies: list[str]) -> list[str]:
    told = f"it answers what {', '.join(proxies)} passes on and nobody else, and takes that for TLS"
    return [told] if proxies else []
