"""A privacy notice, as a draft: what is kept of followers, why, how long, and whom they can ask."""

from lapsekit.followers.speaking import words_for
from lapsekit.language.words import Words
from lapsekit.season import Season


def notice(season: Season, language: str | None = None) -> str:
    """The draft, as Markdown, filled from season.toml.

    Parameters
    ----------
    season : Season
    language : str, optional
        The site's by default.
    """
    words = words_for(season, language or season.settings.site.language)
    title = words.text("Pictures that you send: what becomes of your data")
    parts = [f"# {title}", _draft(words)]
    for head, body in _sections(season, words):
        parts += [f"## {head}", body]
    return "\n\n".join(parts) + "\n"


def _draft(words: Words) -> str:
    return "> " + words.text(
        "A draft, written from the settings of this season. Have it checked by somebody who knows "
        "the law where you are (data protection; children's data; the school's own rules), fill in "
        "what is in [brackets], and delete this line."
    )


def _sections(season: Season, words: Words) -> list[tuple[str, str]]:
    wanted = season.settings.followers
    contact = wanted.contact or words.text("[whom followers can turn to, and how]")
    return [
        (words.text("Who answers for it"), contact),
        (words.text("What is kept"), _kept(season, words)),
        (words.text("What for, and on what ground"), _ground(words)),
        (words.text("Who gets it"), _who(season, words)),
        (words.text("How long"), _how_long(season, words)),
        (words.text("What you can ask for"), _rights(words, contact)),
        (words.text("Children and young people"), _minors(season, words)),
    ]


def _kept(season: Season, words: Words) -> str:
    lines = [
        words.text(
            "The picture, made anew from its pixels and at most {side} pixels wide or high: what "
            "the camera wrote into the file (place, device, time of day) is not kept. Of its date "
            "only the day is kept.",
            side=season.settings.followers.largest_side_px,
        ),
        words.text(
            "What you write with it: the name that you choose, plant, sowing day, a caption. The "
            "name need not be yours."
        ),
        words.text(
            "Your mail address, if you give one, for answers about this picture. It is never shown."
        ),
        words.text("What you agreed to, when, and in which words; for a child also the parent."),
        words.text("A hash of the message, so that the same one is not taken in twice."),
    ]
    if season.settings.followers.inbox is not None:
        lines.append(
            words.text(
                "A picture that reaches the grower another way is kept besides as it came, in a "
                "folder of the grower's own, with what was told with it, for as long as the "
                "picture itself."
            )
        )
    return "\n".join(f"- {line}" for line in lines)


def _ground(words: Words) -> str:
    return words.text(
        "To show your plant on the season's website, next to the grower's of the same age. This "
        "rests on your consent [name the provision of your law]. No picture is shown before the "
        "grower has looked at it and said yes."
    )


def _who(season: Season, words: Words) -> str:
    host = words.text(
        "The picture, the name you chose and the caption are public once they are shown. [Name "
        "the company that hosts the website, and whoever keeps the mailbox and the copies.]"
    )
    if season.settings.copies.to is None:
        return host
    return host + " " + words.text("A copy of the season, with the pictures, is kept elsewhere.")


def _how_long(season: Season, words: Words) -> str:
    wanted = season.settings.followers
    lines = [
        words.counted(
            "Pictures that nobody decided on are deleted after {n} day.",
            "Pictures that nobody decided on are deleted after {n} days.",
            wanted.keep_waiting_days,
        ),
        words.counted(
            "Pictures that were declined are deleted after {n} day.",
            "Pictures that were declined are deleted after {n} days.",
            wanted.keep_declined_days,
        ),
        words.counted(
            "Mail addresses are deleted {n} day after the last word about their picture.",
            "Mail addresses are deleted {n} days after the last word about their picture.",
            wanted.keep_contact_days,
        ),
        words.text(
            "Pictures that are shown stay until you have them taken down, or the season's website "
            "is closed [when?]."
        ),
    ]
    return "\n".join(f"- {line}" for line in lines)


def _rights(words: Words, contact: str) -> str:
    return words.text(
        "You can have your picture taken down at any time with the code that you were given, "
        "without giving a reason: it is deleted at once, and leaves the website with its next "
        "update and the copies with the next copy. You can also ask what is kept of you, have it "
        "corrected or deleted, or take your consent back: {contact}. You can complain to [the "
        "data protection authority].",
        contact=contact,
    )


def _minors(season: Season, words: Words) -> str:
    if season.settings.followers.minors == "never":
        return words.text("Pictures of children and young people are not taken here.")
    return words.text(
        "Whoever is not of age needs a parent or guardian who agrees. Their name is kept with the "
        "consent, and not shown. [From which age on your law lets young people agree themselves.]"
    )
