"""What each setting means, in whole sentences, for the forms of the desk.

config/season.toml says the same in notes for those who edit the file by hand.
"""

_FAR = {
    "target": "Where it goes: a folder, HOST:FOLDER for rsync, an https address for WebDAV, or "
    "REMOTE:PATH for rclone. Nothing else should lie there.",
    "bandwidth_kb_s": "Sends no faster than this, so that others have something of a poor line. "
    "Without a number it sends as fast as it can.",
    "time_limit_s": "A single step that takes longer than this is given up, and tried again later.",
    "ssh_port": "The port of the SSH server, where it is not the usual one.",
    "ssh_key": "The file of an SSH key without a passphrase. Use a key that may do no more than "
    "this; keys and passwords never stand in season.toml.",
    "rclone_config": "The file in which rclone keeps its remotes. It can name programs to run, so "
    "it is asked for when you trust the season folder.",
    "user": "The name to sign in with, for WebDAV.",
    "password_file": "A file that only you can read (chmod 600), with the password on its first "
    "line, or the name of a systemd credential. It is used for WebDAV.",
}
_SERVER = {
    "port": "The server's port. Without one the usual port of the chosen security is taken.",
    "security": "How the connection is protected. “none” is taken for this machine alone, since "
    "the password would cross the network for all to read.",
    "user": "The name to sign in with.",
    "password_file": "A file that only you can read (chmod 600), with the password on its first "
    "line, or the name of a systemd credential.",
}

HELP: dict[str, dict[str, str]] = {
    "season": {
        "title": "What the season is called, on pages and in films.",
        "time_zone": "A name of the IANA database, as Area/City. A day ends at its midnight.",
        "sown": "The day on which most plants were sown. A region can have its own.",
        "about": "What stands on the bench, in a sentence or two, for readers of the site.",
        "base_c": "Crops do not develop below this temperature: the base of degree days.",
        "cap_c": "Crops develop no faster above this temperature. Without a number there is no "
        "cap.",
    },
    "place": {
        "": "Times by the sun need to know where the bench stands.",
        "latitude": "Degrees north of the equator; south of it with a minus.",
        "longitude": "Degrees east of Greenwich; west of it with a minus.",
    },
    "capture": {
        "every_minutes": "A picture is taken every so many minutes, between the two times below.",
        "from": "When the first picture of a day is due: a time like 08:00 in the season's time "
        "zone, or by the sun, as “sunrise”, “noon - 4:00” or “sunset - 0:30”.",
        "until": "When the last picture of a day is due, written alike.",
        "daily_at": "One picture a day is taken at this time besides. It becomes the day's picture "
        "on the site and in films.",
        "daily_within_minutes": "If the daily picture fails, it is tried again for so long. One "
        "that is taken later still stands for its day, and says its own time.",
        "keep_free_mb": "With less room than this on the disk only the daily picture is taken.",
        "wait_for_clock": "A machine that has not set its clock since it started keeps its frames "
        "apart until it has. Say no for a machine that never meets a network.",
        "more_often": "On some days pictures can come closer together. Write a list like "
        "[{from = 2031-05-02, until = 2031-05-03, every_minutes = 5}].",
    },
    "morning": {
        "at": "At this time the day before is measured and the site is made again.",
        "time_limit_minutes": "That work is ended when it takes longer than this.",
    },
    "frames": {
        "": "Where frames lie, when they are not in the season folder.",
        "at": "Frames are read here: an address that begins with file:///, sftp:// or s3://.",
        "access_file": "A file that only you can read holds how to get in there.",
    },
    "compute": {
        "memory_mb": "Measuring, growth, site and films hold to this much memory: they work on "
        "fewer things at once, and numbers stay the same. Unattended work that wants more is "
        "ended. Without a number they keep within 70 % of the machine's memory.",
    },
    "screening": {
        "": "Which frames are not used is learned from the season's own frames. Fix a limit here "
        "only where that fails; single frames are overruled under Frames.",
        "dark_below": "A frame whose mean brightness, from 0 to 1, is below this is not used.",
        "blown_above": "A frame in which more than this share of the pixels, from 0 to 1, has lost "
        "its colour is not used.",
        "blurred_above": "A frame that another blur would change so little, from 0 to 1, is "
        "blurred already, and is not used.",
    },
    "registration": {
        "use": "Every frame is held to the reference view, so that a knock moves no outline. Say "
        "no only for a camera that never moves.",
    },
    "canopy": {
        "method": "How plants are told from what is not: by the shipped model, which learns from "
        "strokes under Colours, or by a published index, which sees green plants only.",
        "model_file": "The file of a model of your own, instead of the shipped one.",
        "correct_height": "A plant 30 cm high under a lens at 150 cm reads 56 % too large, since "
        "it is nearer. With yes, heights in the diary take that off, evenly between them, and "
        "intervals grow by what a ruler between leaves may be wrong by.",
    },
    "film": {
        "": "What is said here holds for every cut that says nothing else.",
        "frames": "Which frames a film shows: one picture a day, all usable ones, or of each day "
        "the one whose light is most like that of the days around it (“alike”).",
        "shape": "The shape of the picture: as the camera's, 16:9 (“wide”), square, or 9:16 "
        "(“upright”).",
        "short_side_px": "The length of the picture's shorter side, up to 2160 px.",
        "frames_per_second": "How many pictures a second the film has.",
        "day_seconds": "How long a day lasts in the film.",
        "length_seconds": "How long the whole film lasts, instead of a day. Every new day makes "
        "all of it anew then.",
        "pace": "How time runs: evenly (“time”), with the same gain of canopy every second "
        "(“growth”), or slowly where the diary tells of acts (“events”).",
        "between": "What lies between two pictures: one fades into the next, one simply follows "
        "the other (“hold”), or leaves move in between (“motion”).",
        "steady": "The camera's movements are taken out.",
        "even_light": "Flicker of light and colour is taken out; seasons and sunsets stay.",
        "fit": "A shape other than the camera's is cut out of its pictures (“fill”), or shows all "
        "of them on paper (“whole”).",
        "shows": "What stands on the picture.",
        "date_at": "The corner in which the day's sheet stands. Without one it is the corner where "
        "it hides least of the plants, the same all through a film.",
        "until": "The day on which the thread along the film ends. Without one it ends on the last "
        "day.",
        "files": "What is made beside the film, for the web and for editing.",
        "small": "The encoding of the small file: AV1, or HEVC for older devices.",
        "master": "The encoding of the master, nearly without loss: ProRes, or H.264 with 10 bits.",
        "teaser": "The encoding of the short moving picture.",
        "encoder": "Who encodes: a program, or the machine's own hardware, which is quicker and "
        "does it less well.",
        "weekly": "Names of the cuts that “lapsekit run” makes once a week, as a list like "
        '["season", "basil"].',
        "weekly_on": "The day on which it makes them, before the morning's work.",
    },
    "site": {
        "language": "The language of the pages: en, de, or one of your own whose words lie in "
        "site_template/words.",
        "address": "The address at which readers find the site; it ends with a slash. Feeds, "
        "previews of links and the map for search engines need it.",
        "earlier": "The folder of last season. It is held beside this one by plant age.",
    },
    "publish": {
        "to": "How the site gets to where readers find it, every morning. Nowhere, unless you "
        "choose. For a folder, the systemd unit needs a line ReadWritePaths= with it.",
        **_FAR,
    },
    "copies": {
        "to": "How frames and your own texts get to another place, every night. Nowhere, unless "
        "you choose. For a folder, the systemd unit needs a line ReadWritePaths= with it.",
        **_FAR,
        "at": "At this time the copies are made.",
        "encrypt_with": "A file with a password, with which rclone encrypts names and content "
        "before it sends them. Keep the password elsewhere too: without it nothing can be "
        "restored.",
    },
    "thinning": {
        "keep_all_days": "Frames that are older than so many days are thinned out. Without a "
        "number all stay.",
        "then_a_day": "So many of a day stay then. Its daily picture, and what you said yes or no "
        "to, always does.",
        "needs_copy": "No frame goes that does not lie, verified, where copies go.",
    },
    "alerts": {
        "to_file": "A file that only you can read (chmod 600) with the addresses of those who are "
        "called, as Apprise writes them, one a line; or the name of a systemd credential.",
        "no_frame_hours": "A call goes out when frames were due for so many hours and none came.",
        "dew_days": "A call goes out after so many days in a row with dew or haze on the lens.",
        "quiet_from": "From this time on nobody is called.",
        "quiet_until": "What came up meanwhile is told at this time.",
        "remind_days": "What goes on is told again after so many days.",
    },
    "followers": {
        "": "Pictures of followers' own plants wait until you say yes to each; none is shown "
        "before.",
        "contact": "Whom followers can turn to: a name or an office, and how it is reached. It "
        "stands in the privacy notice. The three fields below need it: nothing comes in without.",
        "address": "The mail address to which pictures can be sent. The site's page names it. Say "
        "above whom followers can turn to as well.",
        "upload": "The address at which your “lapsekit receive” can be reached. Say above whom "
        "followers can turn to as well.",
        "inbox": "A folder into which you put pictures that came another way. A bare name, like "
        "inbox, lies in the season's folder. Name one for nothing else: what is taken in is moved "
        "to taken there, as it came, and deleted once the picture is taken down or its time is "
        "over. Say above whom followers can turn to as well.",
        "minors": "What holds for those who are not of age: a parent agrees, or their pictures are "
        "not taken.",
        "largest_side_px": "Larger pictures are reduced to this side when they are kept.",
        "face_model": "The file of a model for OpenCV's FaceDetectorYN (none comes with it), with "
        "which faces are proposed to be blurred. It misses some; look yourself.",
        "most_waiting": "No more pictures are taken in while so many wait for you.",
        "keep_waiting_days": "A picture that you decided nothing about is deleted after so many "
        "days.",
        "keep_declined_days": "A picture that you declined is deleted after so many days.",
        "keep_contact_days": "An address is deleted so many days after the last word about its "
        "picture.",
    },
    "followers.mail": {
        "": "This mailbox is looked through over IMAP. Nothing in it is deleted, and nobody needs "
        "to reach this machine.",
        "host": "The name of the mail server.",
        **_SERVER,
        "folder": "The folder of the mailbox in which mails come in.",
        "done": "Mails that were read are moved into this folder of the mailbox.",
        "every_minutes": "The mailbox is looked through every so many minutes.",
        "largest_mb": "A mail that is larger than this is left alone, and you are told.",
        "time_limit_s": "A look that takes longer than this is given up, and tried again later.",
    },
    "followers.page": {
        "": "How much the upload page takes, for those with a server: “lapsekit receive” opens it.",
        "a_day": "The page takes no more than so many pictures a day in all.",
        "a_day_each": "It takes no more than so many a day from one internet address. A whole "
        "school may have but one.",
        "most_at_once": "So many pictures can come in one sending.",
        "largest_mb": "One sending may be no larger than this.",
        "keep_free_mb": "With less room than this on the disk no more pictures are taken.",
    },
    "followers.answers": {
        "": "Answers are sent over SMTP. Without a server the desk shows them, to be copied.",
        "host": "The name of the mail server.",
        **_SERVER,
        "sender": "The address from which answers come.",
        "a_day": "No more than so many answers are sent a day.",
        "time_limit_s": "A sending that takes longer than this is given up, and tried again later.",
    },
    "cameras": {
        "privacy": "Areas that are blacked out before a frame is first written, as outlines in px. "
        "They are drawn under Setting up, Aim.",
        "privacy_size_px": "Width and height of the pictures in which the areas were drawn. A "
        "picture of another size is not kept.",
        "px_per_cm": "How many px one centimetre on the bench takes, measured on something flat.",
        "scale_points": "Two points of a frame, in px, whose distance you measured. They are "
        "tapped under Setting up, Scale.",
        "scale_length_cm": "How far these two points lie apart on the bench.",
        "scale_rectangle": "The four corners of a rectangle that lies on the bench, in order, in "
        "px. It takes out the camera's tilt, too.",
        "scale_sides_cm": "The two sides of that rectangle.",
        "tag_side_cm": "The side of the black square of a printed tag that lies on the bench.",
        "grey_card": "The outline of a grey card that lies flat on the bench all season, in px. It "
        "helps to even out the light.",
        "height_cm": "How high the lens hangs over the bench. It is needed only to correct areas "
        "for the height of plants.",
        "reference": "The frame in which outlines and scale hold; every other frame is held to it. "
        "Without one it is the first day's picture.",
        "device": "The number of the camera among the machine's video devices, from 0.",
        "number": "The number of the camera on a machine with several, from 0.",
        "width": "How many px wide its pictures are. Without a number it is the camera's own size.",
        "height": "How many px high its pictures are.",
        "warm_up_frames": "So many pictures are passed over first, until the camera has found its "
        "exposure.",
        "exposure_ms": "A fixed time of exposure. Without a number the camera chooses.",
        "white_balance_k": "A fixed white balance, as a colour temperature in kelvins. Without a "
        "number the camera chooses.",
        "white_balance_gains": "Fixed gains of red and blue, as [1.9, 1.6]. Without them the "
        "camera chooses.",
        "gain": "A fixed gain of the sensor. Without a number the camera chooses.",
        "focus_dioptres": "A fixed focus: 1 divided by the distance in metres.",
        "upside_down": "The camera hangs upside down, and its pictures are turned.",
        "jpeg_quality": "How well its pictures are kept, from 50 to 100.",
        "time_limit_s": "A picture that takes longer than this is given up.",
        "command": "The program that takes one picture, with what it is told, as a list. It runs "
        "only in a season folder that you trust.",
        "url": "The address of its picture or stream.",
        "user": "The name to sign in with, where the camera asks for one.",
        "password_file": "A file that only you can read (chmod 600), with the camera's password on "
        "its first line, or the name of a systemd credential.",
        "folder": "The folder into which a phone, a trail camera or a card puts pictures.",
        "settled_s": "A file counts as there once it has lain unchanged for so long.",
        "pattern": "How times stand in the files' names, like IMG_%Y%m%d_%H%M%S. Without a pattern "
        "they come from the EXIF data.",
        "file_time": "Times are the files' own dates. Say yes only where nothing better is known.",
    },
    "cameras.replay": {
        "folder": "The folder of dated frames that is played again, with the folders inside it.",
    },
}
"""By table and key; "" is what is said of a table as a whole."""


def help_of(table: str, kind: str = "") -> dict[str, str]:
    """What is said of a table's keys.

    Parameters
    ----------
    table : str
        As season.toml names it; every camera's begins with ``cameras.``.
    kind : str
        A camera's kind.
    """
    if table.startswith("cameras."):
        return HELP["cameras"] | HELP.get(f"cameras.{kind}", {})
    return HELP.get(table, {})
