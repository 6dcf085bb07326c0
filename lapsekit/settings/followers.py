"""``[followers]`` of season.toml: how followers' pictures come in, and how long they are kept."""

from typing import Annotated, Literal, Self

from pydantic import Field, PositiveInt, model_validator

from lapsekit.settings.values import Model, written_as

Host = Annotated[
    str,
    written_as(
        r"[A-Za-z0-9.\-:\[\]]+", 'write the name of a machine alone, like "mail.bench.example"'
    ),
]
Port = Annotated[int, Field(ge=1, le=65_535)]
Address = Annotated[
    str,
    written_as(
        r"[^\s@<>\"]+@[^\s@<>\"]+",
        'write a mail address alone, without a name, like "pictures@bench.example"',
    ),
]
Web = Annotated[
    str,
    written_as(
        r"https?://[^\s/?#@]+(/[^\s?#]*)?",
        'write the address of a page, like "https://bench.example/pictures"',
    ),
]
Contact = Annotated[
    str,
    written_as(
        r"(?s).{3,300}",
        "say whom readers can turn to: a name or an office, and how it is reached, in 3 to 300 "
        "characters",
    ),
]


class MailTable(Model):
    """``[followers.mail]``: the mailbox that is looked through; nobody needs to reach this machine.

    Messages that were read go to the folder `done`, nothing is deleted.
    """

    host: Host
    port: Port | None = None
    security: Literal["tls", "starttls", "none"] = "tls"
    user: Annotated[str, Field(min_length=1)]
    password_file: Annotated[str, Field(min_length=1)]
    folder: Annotated[str, Field(min_length=1)] = "INBOX"
    done: Annotated[str, Field(min_length=1)] = "Pictures seen"
    every_minutes: Annotated[int, Field(ge=1, le=1440)] = 15
    largest_mb: Annotated[int, Field(ge=1, le=100)] = 40
    time_limit_s: Annotated[float, Field(gt=0, le=3600)] = 120.0

    @model_validator(mode="after")
    def _safe(self) -> Self:
        require_private(self.host, self.security)
        return self


class AnswersTable(Model):
    """``[followers.answers]``: who sends answers; without it the desk shows them to be copied."""

    host: Host
    port: Port | None = None
    security: Literal["tls", "starttls", "none"] = "starttls"
    user: Annotated[str, Field(min_length=1)] | None = None
    password_file: Annotated[str, Field(min_length=1)] | None = None
    sender: Address
    a_day: PositiveInt = 200
    time_limit_s: Annotated[float, Field(gt=0, le=600)] = 60.0

    @model_validator(mode="after")
    def _safe(self) -> Self:
        require_private(self.host, self.security)
        if (self.user is None) != (self.password_file is None):
            raise ValueError("user and password_file belong together; give both, or neither")
        return self


def require_private(host: str, security: str) -> None:
    """Refuse to send a password to another machine for everybody to read."""
    if security == "none" and host not in ("127.0.0.1", "localhost", "::1", "[::1]"):
        raise ValueError('security = "none" would send the password open; only to this machine')


class PageTable(Model):
    """``[followers.page]``: how much the upload page (`lapsekit receive`) takes.

    `a_day_each` counts for one internet address; a whole school may have but one.
    """

    a_day: PositiveInt = 300
    a_day_each: PositiveInt = 60
    most_at_once: Annotated[int, Field(ge=1, le=20)] = 8
    largest_mb: Annotated[int, Field(ge=1, le=200)] = 40
    keep_free_mb: Annotated[int, Field(ge=0)] = 500


class FollowersTable(Model):
    """``[followers]``: nothing comes in until `contact` says whom followers can turn to.

    `contact` stands in the privacy notice: a name or a school's office, and how it is reached.
    `face_model` is an ONNX file for OpenCV's FaceDetectorYN, which then proposes faces to blur.
    """

    contact: Contact | None = None
    address: Address | None = None
    upload: Web | None = None
    inbox: Annotated[str, Field(min_length=1)] | None = None
    minors: Literal["parent", "never"] = "parent"
    largest_side_px: Annotated[int, Field(ge=400, le=4000)] = 1600
    face_model: Annotated[str, Field(min_length=1)] | None = None
    most_waiting: Annotated[int, Field(ge=1, le=10_000)] = 500
    keep_waiting_days: PositiveInt = 60
    keep_declined_days: PositiveInt = 14
    keep_contact_days: PositiveInt = 180
    mail: MailTable | None = None
    answers: AnswersTable | None = None
    page: PageTable = PageTable()

    @model_validator(mode="after")
    def _somebody_answers(self) -> Self:
        ways = {"address": self.address, "upload": self.upload, "inbox": self.inbox}
        given = [name for name, value in (ways | {"mail": self.mail}).items() if value is not None]
        if given and self.contact is None:
            raise ValueError(
                f"{given[0]} lets pictures of others in, so contact must say whom they can turn "
                "to: a name, and how to reach it; it stands in the privacy notice"
            )
        return self
