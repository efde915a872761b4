"""What another release would change: the rules, and the query over two loaded releases."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.names.actions.taxa import taxa_for
from inventory.names.models import Taxon
from inventory.names.queries.compare import compared
from inventory.names.queries.eras import UnknownRelease, release_called
from inventory.names.rules.compare import Change, Consequence, InUse, compare
from inventory.names.rules.full_name import full_name
from inventory.names.rules.verdicts import Classification, Usage
from tests.factories import NOW, make_event, make_lot, make_place, make_taxon

from .releases import Name, load_names

AT = Classification("Animalia", "Cnidaria", "Anthozoa", "Actiniaria", "Exemplidae", "")


def usage(
    name: str,
    author: str = "Tester, 1900",
    *,
    of: Usage | None = None,
    family: str = "Exemplidae",
    class_name: str = "Anthozoa",
    status: str = "",
) -> Usage:
    at = Classification("Animalia", "Cnidaria", class_name, "Actiniaria", family, "")
    status = status or ("synonym" if of else "accepted")
    return Usage(f"{name} {author}", name, author, "species", status, at, accepted=of)


def named(*usages: Usage) -> Mapping[str, Sequence[Usage]]:
    found: dict[str, list[Usage]] = {}
    for one in usages:
        found.setdefault(one.canonical_name, []).append(one)
    return found


def taxon(number: int, name: str, **other: object) -> InUse:
    known = {"key": name, "authorship": "Tester, 1900", "rank": "species", "classification": AT, **other}
    return InUse(number, name, **known)  # type: ignore[arg-type]


def one(changes: list[Change]) -> Change:
    (change,) = changes
    return change


def test_a_name_that_stays_as_it_was_is_no_change() -> None:
    release = named(usage("Metridium senile"))
    assert compare([taxon(1, "Metridium senile")], release, release) == []


def test_an_accepted_name_that_becomes_a_synonym_is_renamed() -> None:
    new = usage("Sagartia nova")
    change = one(
        compare(
            [taxon(1, "Sagartia elegans")],
            named(usage("Sagartia elegans")),
            named(new, usage("Sagartia elegans", of=new)),
        )
    )
    assert (change.consequence, change.new_name, change.target) == (Consequence.RENAMED, "Sagartia nova", new)


def test_the_same_epithet_in_another_genus_is_a_moved_genus_whatever_its_ending() -> None:
    new = usage("Cylista nigra", "(Tester, 1900)", family="Novidae")
    change = one(
        compare(
            [taxon(1, "Actinus niger")],
            named(usage("Actinus niger")),
            named(new, usage("Actinus niger", of=new)),
        )
    )
    assert change.consequence is Consequence.MOVED_GENUS
    assert change.also == ("family Exemplidae → Novidae",)


def test_accepted_name_and_synonym_that_change_places_are_a_change_of_status_both_ways() -> None:
    senile, dianthus = usage("Metridium senile"), usage("Metridium dianthus", "Ellis, 1768")
    first = named(senile, usage("Metridium dianthus", "Ellis, 1768", of=senile))
    second = named(dianthus, usage("Metridium senile", of=dianthus))
    there = one(compare([taxon(1, "Metridium senile")], first, second))
    back = one(compare([taxon(1, "Metridium dianthus", authorship="Ellis, 1768")], second, first))
    assert there.consequence is back.consequence is Consequence.STATUS_CHANGED
    assert (there.new_name, back.new_name) == ("Metridium dianthus", "Metridium senile")


def test_a_doubtful_status_is_said_and_changes_no_name() -> None:
    change = one(
        compare(
            [taxon(1, "Alpha una")],
            named(usage("Alpha una")),
            named(usage("Alpha una", status="doubtful")),
        )
    )
    assert (change.consequence, change.new_name) == (Consequence.STATUS_CHANGED, "Alpha una")
    assert change.why == "accepted; now doubtful"


@pytest.mark.parametrize(
    ("changed", "also"),
    [
        (usage("Alpha una", family="Novidae"), ("family Exemplidae → Novidae",)),
        (usage("Alpha una", class_name="Hydrozoa"), ("class Anthozoa → Hydrozoa",)),
    ],
)
def test_a_new_family_or_class_is_a_change_though_the_name_stands(
    changed: Usage, also: tuple[str, ...]
) -> None:
    change = one(compare([taxon(1, "Alpha una")], named(usage("Alpha una")), named(changed)))
    assert (change.consequence, change.also) == (Consequence.RECLASSIFIED, also)


def test_an_author_written_otherwise_is_a_change_of_its_own() -> None:
    change = one(
        compare(
            [taxon(1, "Alpha una")],
            named(usage("Alpha una")),
            named(usage("Alpha una", "(Tester, 1900)")),
        )
    )
    assert change.consequence is Consequence.AUTHOR_CHANGED


def test_two_taxa_that_lead_to_one_name_merge_into_the_one_that_bears_it() -> None:
    senile = usage("Metridium senile")
    new = named(senile, usage("Metridium dianthus", of=senile))
    change = one(
        compare(
            [taxon(1, "Metridium senile"), taxon(2, "Metridium dianthus", n_lots=9)],
            named(senile, usage("Metridium dianthus")),
            new,
        )
    )
    assert (change.consequence, change.taxon_id, change.into) == (Consequence.MERGED, 2, 1)


def test_when_nobody_bears_the_common_name_the_taxon_with_most_lots_takes_it() -> None:
    new = usage("Gamma tria")
    changes = compare(
        [taxon(1, "Alpha una", n_lots=1), taxon(2, "Beta dua", n_lots=2)],
        named(usage("Alpha una"), usage("Beta dua")),
        named(new, usage("Alpha una", of=new), usage("Beta dua", of=new)),
    )
    found = {change.taxon_id: (change.consequence, change.into) for change in changes}
    assert found == {1: (Consequence.MERGED, 2), 2: (Consequence.RENAMED, None)}


def test_names_that_change_places_do_not_merge() -> None:
    a, b = usage("Alpha una"), usage("Beta dua")
    changes = compare(
        [taxon(1, "Alpha una"), taxon(2, "Beta dua")],
        named(a, b),
        named(
            usage("Alpha una", "Other, 1950"),
            usage("Alpha una", of=usage("Beta dua", "Other, 1950")),
            usage("Beta dua", of=usage("Alpha una", "Other, 1950")),
        ),
    )
    assert {(change.taxon_id, change.new_name, change.into) for change in changes} == {
        (1, "Beta dua", None), (2, "Alpha una", None),
    }  # fmt: skip


def test_a_name_that_leads_to_several_taxa_is_split_though_one_is_of_the_same_family() -> None:
    a, b = usage("Alpha una", "(Tester, 1900)"), usage("Beta una", family="Aliidae")
    change = one(
        compare(
            [taxon(1, "Zeta una")],
            named(usage("Zeta una")),
            named(a, b, usage("Zeta una", of=a), usage("Zeta una", of=b)),
        )
    )
    assert (change.consequence, change.choices, change.new_name) == (Consequence.SPLIT, (a, b), "")


def test_homonyms_told_apart_by_author_or_phylum_are_no_split() -> None:
    ours = usage("Alpha una")
    beetle = Usage(
        "x", "Alpha una", "Other, 1850", "species", "accepted", Classification("Animalia", "Arthropoda")
    )
    assert compare([taxon(1, "Alpha una")], named(ours), named(ours, beetle)) == []
    without_author = taxon(1, "Alpha una", authorship="")
    assert compare([without_author], named(ours), named(ours, beetle)) == []


def test_lots_typed_under_a_synonym_that_is_a_species_again_are_a_split_of_those_lots() -> None:
    senile, dianthus = usage("Metridium senile"), usage("Metridium dianthus")
    ours = taxon(1, "Metridium senile", typed=frozenset({"Metridium senile", "Metridium dianthus"}))
    change = one(
        compare([ours], named(senile, usage("Metridium dianthus", of=senile)), named(senile, dianthus))
    )
    assert (change.consequence, change.typed) == (Consequence.SPLIT, "Metridium dianthus")
    assert change.choices == (senile, dianthus)


def test_a_name_that_the_release_does_not_know_is_gone_and_one_that_neither_knows_is_not() -> None:
    found = compare([taxon(1, "Alpha una"), taxon(2, "Own name")], named(usage("Alpha una")), named())
    assert [(change.consequence, change.taxon_id) for change in found] == [(Consequence.GONE, 1)]


def test_what_a_person_decided_against_the_backbone_is_asked_never_renamed() -> None:
    cylista, other = usage("Cylista elegans"), usage("Tertia elegans")
    kept = taxon(1, "Sagartia elegans")
    old = named(cylista, usage("Sagartia elegans", of=cylista))
    assert compare([kept], old, old) == []
    change = one(compare([kept], old, named(other, usage("Sagartia elegans", of=other))))
    assert (change.consequence, change.choices) == (Consequence.IN_DOUBT, (other,))


def test_a_name_cautioned_against_is_never_taken() -> None:
    """The spider crab of this sea must not become *Maja squinado* because a release says so."""
    squinado = usage("Maja squinado")
    change = one(
        compare(
            [taxon(1, "Maja brachydactyla")],
            named(usage("Maja brachydactyla")),
            named(squinado, usage("Maja brachydactyla", of=squinado)),
            cautioned={"Maja squinado"},
        )
    )
    assert change.consequence is Consequence.IN_DOUBT


def test_a_species_of_which_only_the_genus_is_left_is_asked() -> None:
    genus = usage("Alpha")
    change = one(
        compare(
            [taxon(1, "Alpha una")], named(usage("Alpha una")), named(genus, usage("Alpha una", of=genus))
        )
    )
    assert change.consequence is Consequence.IN_DOUBT


def test_a_name_waiting_in_the_queue_is_left_to_it_and_none_merges_into_it() -> None:
    squinado = usage("Alpha una")
    changes = compare(
        [taxon(1, "Alpha una", waits=True), taxon(2, "Beta dua")],
        named(usage("Alpha una"), usage("Beta dua")),
        named(squinado, usage("Beta dua", of=squinado)),
    )
    assert [(change.taxon_id, change.consequence) for change in changes] == [(2, Consequence.IN_DOUBT)]


def test_a_doubtful_identification_keeps_its_sign_under_the_new_name() -> None:
    new = usage("Cylista elegans")
    ours = taxon(1, "Sagartia cf. elegans", key="Sagartia elegans", qualifier="cf.")
    change = one(
        compare([ours], named(usage("Sagartia elegans")), named(new, usage("Sagartia elegans", of=new)))
    )
    assert change.new_name == "Cylista cf. elegans"
    assert full_name("Henricia", "sp.") == "Henricia"
    assert full_name("Henricia", "sp. A") == "Henricia sp. A"
    assert full_name("Urticina cf. felina", "cf.") == "Urticina cf. felina"


@pytest.mark.django_db
def test_the_comparison_tells_lots_animals_and_permits_touched(tmp_path: Path) -> None:
    load_names(tmp_path, "2025", Name("Gobiusculus flavescens"), Name("Alpha una"))
    goby = taxa_for(["Gobiusculus flavescens", "Alpha una"], now=NOW)["Gobiusculus flavescens"]
    first, second = make_lot(taxon=goby), make_lot(taxon=goby)
    place = make_place()
    for lot, n, permit in ((first, 5, "HISFB 1/24"), (second, 7, "HISFB 2/24"), (second, 1, "")):
        make_event("taken", lot=lot, place=place, unknown=n, permit_number=permit)
    new = load_names(
        tmp_path,
        "2026",
        Name("Pomatoschistus flavescens", "(Tester, 1900)"),
        Name("Gobiusculus flavescens", of="Pomatoschistus flavescens", of_author="(Tester, 1900)"),
        Name("Alpha una"),
    )
    assert not new.is_current
    (seen,) = compared(new).seen
    assert (seen.change.consequence, seen.n_lots, seen.n_held, seen.permits) == (
        Consequence.MOVED_GENUS, 2, 13, ("HISFB 1/24", "HISFB 2/24"),
    )  # fmt: skip


@pytest.mark.django_db
def test_queries_do_not_grow_with_the_names_in_use(tmp_path: Path) -> None:
    names = [Name(f"Alpha numero{chr(97 + n)}") for n in range(20)]
    load_names(tmp_path, "2025", *names)
    moved = [Name(name.name.replace("Alpha", "Beta"), "(Tester, 1900)") for name in names]
    gone_over = [
        Name(old.name, of=new.name, of_author=new.author) for old, new in zip(names, moved, strict=True)
    ]
    taxa_for(["Alpha numeroa"], now=NOW)
    make_lot(taxon=Taxon.objects.get())
    new = load_names(tmp_path, "2026", *moved, *gone_over)

    def queries() -> tuple[int, int]:
        with CaptureQueriesContext(connection) as captured:
            found = compared(new)
        return len(captured), len(found.seen)

    few = queries()
    for one_taxon in taxa_for([name.name for name in names], now=NOW).values():
        make_lot(taxon=one_taxon)
        make_lot(taxon=one_taxon)
    assert queries() == (few[0], 20)
    assert few[1] == 1


@pytest.mark.django_db
def test_a_release_is_named_by_version_name_or_number_and_a_wrong_one_lists_what_there_is(
    tmp_path: Path,
) -> None:
    make_taxon("Own name")
    old = load_names(tmp_path, "2025", Name("Alpha una"))
    new = load_names(tmp_path, "2026", Name("Beta dua"))
    assert (
        release_called("2026") == release_called("small backbone 2026") == release_called(str(new.pk)) == new
    )
    for text in ("2027", "Small backbone"):
        with pytest.raises(UnknownRelease, match=f"{old.pk}: Small backbone 2025; {new.pk}: Small"):
            release_called(text)
