"""What a setting is called on the desk's forms, with its unit, where its key does not say it."""

_FAR = {
    "to": "How it gets there",
    "target": "Where it goes",
    "bandwidth_kb_s": "Sends no faster than (kB/s)",
    "time_limit_s": "A step may take (seconds)",
    "user": "Name to sign in with",
    "password_file": "File with the password",
}
_SERVER = {
    "host": "Mail server",
    "port": "Its port",
    "user": "Name to sign in with",
    "password_file": "File with the password",
    "time_limit_s": "Given up after (seconds)",
}

LABELS: dict[str, dict[str, str]] = {
    "season": {
        "sown": "Sowing day",
        "about": "What stands on the bench",
        "base_c": "Base of degree days (°C)",
        "cap_c": "Cap of degree days (°C)",
    },
    "place": {"latitude": "Latitude (°)", "longitude": "Longitude (°)"},
    "capture": {
        "every_minutes": "A picture every so many minutes",
        "from": "First picture of a day",
        "until": "Last picture of a day",
        "daily_at": "Daily picture at",
        "daily_within_minutes": "Daily picture is tried for (minutes)",
        "keep_free_mb": "Room that stays free (MB)",
        "more_often": "More often on some days",
    },
    "morning": {"at": "The morning's work begins at", "time_limit_minutes": "May take (minutes)"},
    "frames": {"at": "Where frames lie"},
    "compute": {"memory_mb": "Memory that may be used (MB)"},
    "screening": {
        "dark_below": "Dark below (brightness, 0 to 1)",
        "blown_above": "Blown out above (share, 0 to 1)",
        "blurred_above": "Blurred above (0 to 1)",
    },
    "canopy": {"correct_height": "Correct areas for the height of plants"},
    "film": {
        "short_side_px": "Shorter side (px)",
        "frames_per_second": "Pictures a second",
        "day_seconds": "A day lasts (seconds)",
        "length_seconds": "The whole film lasts (seconds)",
        "until": "Last day of the thread",
        "weekly": "Cuts made once a week",
        "weekly_on": "Day of the week",
    },
    "site": {"address": "Address of the site", "earlier": "Folder of last season"},
    "publish": _FAR,
    "copies": {**_FAR, "at": "Copies are made at"},
    "thinning": {
        "keep_all_days": "All frames stay for (days)",
        "then_a_day": "Frames a day that stay then",
        "needs_copy": "Only frames that were copied go",
    },
    "alerts": {
        "to_file": "File with the addresses",
        "no_frame_hours": "A call after so many hours without a frame",
        "dew_days": "A call after so many days with dew",
        "quiet_from": "Nobody is called from",
        "quiet_until": "Nobody is called until",
        "remind_days": "Told again after (days)",
    },
    "followers": {
        "contact": "Whom followers can turn to",
        "address": "Mail address for pictures",
        "upload": "Address of the upload page",
        "inbox": "Folder for pictures that came another way",
        "largest_side_px": "Longer side of kept pictures (px)",
        "most_waiting": "Most pictures that wait at once",
        "keep_waiting_days": "Undecided pictures are kept for (days)",
        "keep_declined_days": "Declined pictures are kept for (days)",
        "keep_contact_days": "Addresses are kept for (days)",
    },
    "followers.mail": {
        **_SERVER,
        "folder": "Folder in which mails come in",
        "done": "Folder for mails that were read",
        "every_minutes": "Looked through every so many minutes",
        "largest_mb": "Largest mail (MB)",
    },
    "followers.page": {
        "a_day": "Pictures a day, in all",
        "a_day_each": "Pictures a day, from one address",
        "most_at_once": "Most pictures in one sending",
        "largest_mb": "Largest sending (MB)",
        "keep_free_mb": "Room that stays free (MB)",
    },
    "followers.answers": {
        **_SERVER,
        "sender": "Address that answers come from",
        "a_day": "Answers a day, at most",
    },
    "cameras": {
        "device": "Device number",
        "number": "Camera number",
        "width": "Width (px)",
        "height": "Height (px)",
        "height_cm": "Height of the lens over the bench (cm)",
        "scale_sides_cm": "Sides of the rectangle (cm)",
        "scale_length_cm": "Distance of the two points (cm)",
        "scale_points": "Two points of known distance (px)",
        "scale_rectangle": "Corners of a rectangle (px)",
        "tag_side_cm": "Side of the printed tag (cm)",
        "px_per_cm": "Pixels of one centimetre",
        "privacy": "Areas blacked out (px)",
        "privacy_size_px": "Size of the pictures they were drawn in (px)",
        "grey_card": "Outline of the grey card (px)",
        "reference": "Reference view",
        "focus_dioptres": "Focus (dioptres)",
        "warm_up_frames": "Pictures passed over first",
        "jpeg_quality": "JPEG quality (50 to 100)",
        "settled_s": "Counts as there after (seconds)",
        "time_limit_s": "A picture may take (seconds)",
        "pattern": "Times in file names",
        "file_time": "Take the files' own dates",
    },
}
"""By table and key."""


def labels_of(table: str) -> dict[str, str]:
    """What a table's keys are called; those that say it themselves are not there.

    Parameters
    ----------
    table : str
        As season.toml names it; every camera's begins with ``cameras.``.
    """
    return LABELS.get("cameras" if table.startswith("cameras.") else table, {})
