"""Date words of German, French, Spanish, Italian and Dutch turned into English ones.

Months and weekdays are those of CLDR, as babel carries them. The few words around them ("Ende", "début") are
in no such table; they are from memory, unverified.
"""

from __future__ import annotations

import re
from collections import defaultdict
from functools import cache

LANGUAGES = ("de", "fr", "es", "it", "nl")

_AROUND = {
    "early": "anfang, début, debut, principios, comienzos, inizio, inizi, begin",
    "mid": "mitte, mi, milieu, mediados, metà, meta, half, medio, midden",
    "late": "ende, fin, finales, fine, eind, einde, spät",
    "about": "um, etwa, gegen, ungefähr, vers, environ, hacia, sobre, verso, circa, rond, omstreeks",
    "by": "bis, jusqu'au, hasta, entro, tot, uiterlijk",
    "before": "vor, avant, antes, prima, voor",
    "after": "nach, après, apres, después, despues, dopo, na",
    "since": "seit, depuis, desde, dal, sinds, ab",
    "week": "woche, kw, semaine, semana, settimana",
    "today": "heute, aujourd'hui, hoy, oggi, vandaag",
    "yesterday": "gestern, hier, ayer, ieri, gisteren",
    "": "der, den, dem, des, am, im, von, le, la, du, de, d', del, el, di, il, het, op, van, der",
}
_WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?\.?|d'(?=\w)")


def in_english(text: str) -> str:
    """A date with its foreign words in English; a word of no known meaning stays.

    Examples
    --------
    >>> in_english("Ende Juni 2004"), in_english("1er mars 2004"), in_english("3 de mayo de 2004")
    ('late june 2004', '1 march 2004', '3 may 2004')
    """
    words = _words()
    plain = re.sub(r"\b1er\b", "1", text.casefold().replace("’", "'").replace("d'", "d' "))
    plain = re.sub(r"\bmi[- ]", "mid ", plain)
    turned = _WORD.sub(lambda found: words.get(found[0].rstrip("."), found[0]), plain)
    return " ".join(turned.split())


@cache
def _words() -> dict[str, str]:
    """English for each word; a word that two languages use for different months or weekdays is left out."""
    from babel import Locale

    english = Locale("en")
    meanings: dict[str, set[str]] = defaultdict(set)
    for code in LANGUAGES:
        locale = Locale(code)
        for names, ours in ((locale.months, english.months), (locale.days, english.days)):
            for context in ("format", "stand-alone"):
                for width in ("wide", "abbreviated"):
                    for number, name in names[context][width].items():
                        meanings[name.casefold().rstrip(".")].add(ours["format"]["wide"][number].casefold())
    # "mar." is March to most and Tuesday in French: the month is what a date needs.
    months = {name.casefold() for name in english.months["format"]["wide"].values()}
    words = {}
    for word, meant in meanings.items():
        fitting = meant if len(meant) == 1 else meant & months
        if len(fitting) == 1:
            words[word] = fitting.pop()
    for meaning, listed in _AROUND.items():
        words |= {word.strip(): meaning for word in listed.split(",") if word.strip() not in words}
    return words
