"""What the house holds of the names that a person may choose among, and how they are called."""

from collections.abc import Collection, Mapping, Sequence

from django.conf.locale import LANG_INFO
from django.db.models import Max, Q

from ..models import BackboneRelease, RangeCaution, Taxon
from ..rules.nearness import Nearby, ranked
from ..rules.parse import common_key, parse
from ..rules.verdicts import Verdict, VerdictKind
from .store import release_names

# Backbones give languages by ISO 639-1 (two letters) or 639-2 and 639-3 (three letters).
# These pairs are from memory; a code that is missing here is shown as it stands.
_THREE_LETTERS = {
    "ara": "ar", "ces": "cs", "cze": "cs", "dan": "da", "deu": "de", "ger": "de", "ell": "el", "gre": "el",
    "eng": "en", "est": "et", "eus": "eu", "fin": "fi", "fra": "fr", "fre": "fr", "gle": "ga", "hrv": "hr",
    "hun": "hu", "isl": "is", "ice": "is", "ita": "it", "jpn": "ja", "kor": "ko", "lav": "lv", "lit": "lt",
    "nld": "nl", "dut": "nl", "nor": "no", "nob": "nb", "nno": "nn", "pol": "pl", "por": "pt", "rus": "ru",
    "slv": "sl", "spa": "es", "swe": "sv", "tur": "tr", "ukr": "uk", "zho": "zh-hans", "chi": "zh-hans",
}  # fmt: skip
_NAMED_HERE = {"fo": "Faroese", "fao": "Faroese", "mt": "Maltese", "mlt": "Maltese", "zh": "Chinese"}


def with_nearness(
    verdicts: Sequence[Verdict],
    release: BackboneRelease | None,
    *,
    places: Collection[str] = (),
    besides: Taxon | None = None,
) -> list[Verdict]:
    """The verdicts with their choices ranked and noted.

    ``places`` are codes of the tanks where the animals are; what stands below them counts as there.
    ``besides`` is a taxon that proves nothing, for its animals are those in question. A constant
    number of queries; none when there is nothing to choose.
    """
    names = {choice.name for verdict in verdicts for choice in verdict.choices}
    if not names:
        return list(verdicts)
    near = nearby(names, places=places, besides=besides)
    common = [verdict for verdict in verdicts if verdict.verdict is VerdictKind.COMMON_NAME]
    languages = _languages(common, release) if release else {}
    return [ranked(verdict, near, languages.get(parse(verdict.typed).key, {})) for verdict in verdicts]


def nearby(names: Collection[str], *, places: Collection[str] = (), besides: Taxon | None = None) -> Nearby:
    """Which of ``names`` are held in those places, in the house, and known from the region.

    The region of a house is what it has ever held, and what a range caution names as right there; a
    name that a caution warns of is no name of the region. Two queries, a third for places.
    """
    ours = Taxon.objects.filter(scientific_name__in=names).exclude(pk=besides.pk if besides else 0).order_by()
    ever = ours.filter(lots__isnull=False).annotate(most=Max("lots__held"))
    most = dict(ever.values_list("scientific_name", "most"))
    cautions = list(RangeCaution.objects.order_by().values_list("typed_name", "right_name"))
    warned, right = {typed for typed, _ in cautions}, {name for _, name in cautions}
    there = ours.filter(_in(places)).values_list("scientific_name", flat=True) if places else ()
    return Nearby(
        tank=frozenset(there),
        house=frozenset(name for name, held in most.items() if held > 0),
        region=frozenset((set(most) | right) - warned),
    )


def has_been_used(place: str) -> bool:
    """True when animals have ever stood in the place of this code, or below it."""
    cells = Q(lots__cells__account__place__code=place) | Q(lots__cells__account__place__parent__code=place)
    return Taxon.objects.filter(cells).exists()


def language_in_words(code: str) -> str:
    """German for de, deu or ger; a code that is not known here stays as it is."""
    short = code.strip().lower().replace("_", "-")
    short = _THREE_LETTERS.get(short, short)
    if short in _NAMED_HERE:
        return _NAMED_HERE[short]
    known = LANG_INFO.get(short) or LANG_INFO.get(short.partition("-")[0]) or {}
    return str(known.get("name") or code.strip())


def _in(places: Collection[str]) -> Q:
    """Held in one of the places, or below one of them."""
    is_there = Q(lots__cells__account__place__code__in=places)
    is_below = Q(lots__cells__account__place__parent__code__in=places)
    return (is_there | is_below) & Q(lots__cells__inside=True, lots__cells__balance__gt=0)


def _languages(
    verdicts: Sequence[Verdict], release: BackboneRelease
) -> Mapping[str, Mapping[tuple[str, str], str]]:
    """Languages in words by key of the common name, then by name and authorship of the taxon."""
    keys = {parse(verdict.typed).key for verdict in verdicts}
    if not keys:
        return {}
    names = release_names(release)
    called = names.called(keys)
    taxa = {usage.taxon_id for usages in called.values() for usage in usages}
    common = names.common_names_of(taxa)
    found: dict[str, dict[tuple[str, str], str]] = {}
    for key, usages in called.items():
        for usage in usages:
            spoken = [one.language for one in common.get(usage.taxon_id, ()) if common_key(one.name) == key]
            words = sorted({language_in_words(code) for code in spoken if code})
            found.setdefault(key, {})[usage.canonical_name, usage.authorship] = " and ".join(words)
    return found
