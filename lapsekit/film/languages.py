"""Languages by the codes that film files know them by."""

_PAIRS = """
ar:ara bg:bul bn:ben ca:cat cs:ces cy:cym da:dan de:deu el:ell en:eng eo:epo es:spa
et:est eu:eus fa:fas fi:fin fr:fra ga:gle gl:glg gu:guj he:heb hi:hin hr:hrv hu:hun
hy:hye id:ind is:isl it:ita ja:jpn ka:kat kk:kaz kn:kan ko:kor lt:lit lv:lav mk:mkd
ml:mal mr:mar ms:msa mt:mlt nb:nob ne:nep nl:nld nn:nno no:nor pa:pan pl:pol pt:por
ro:ron ru:rus si:sin sk:slk sl:slv sq:sqi sr:srp sv:swe sw:swa ta:tam te:tel th:tha
tr:tur uk:ukr ur:urd vi:vie zh:zho
"""
_LONGER = dict(pair.split(":") for pair in _PAIRS.split())


def three_letters(language: str) -> str:
    """ISO 639-2 code of a language by its ISO 639-1 code: ``deu`` of ``de`` or ``de-AT``.

    ``und``, undetermined, where it is none that we know.
    """
    return _LONGER.get(language.replace("_", "-").split("-")[0].lower(), "und")
