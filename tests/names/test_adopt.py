"""A release is taken into use: names follow, lots move, nothing is counted otherwise, all is written down."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext

from inventory.book.models import Lot
from inventory.names.actions.adopt import AdoptionRefused, adopt
from inventory.names.actions.review import review
from inventory.names.actions.taxa import taxa_for
from inventory.names.models import (
    AdoptedChange,
    BackboneRelease,
    CheckState,
    DecisionKind,
    MovedLot,
    NameCheck,
    NameDecision,
    ReleaseAdoption,
    Taxon,
    TaxonName,
)
from inventory.names.queries.store import current_release
from inventory.people.models import Person
from tests.factories import NOW, make_event, make_lot, make_person

from .releases import Name, load_names

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(days=30)
STILL_LATER = NOW + timedelta(days=60)
Load = Callable[..., BackboneRelease]

SENILE = Name("Metridium senile", "(Linnaeus, 1761)")
DIANTHUS = Name("Metridium dianthus", "(Ellis, 1768)")
DIANTHUS_OF_SENILE = replace(DIANTHUS, of=SENILE.name, of_author=SENILE.author)
SENILE_OF_DIANTHUS = replace(SENILE, of=DIANTHUS.name, of_author=DIANTHUS.author)


@pytest.fixture
def load(tmp_path: Path) -> Load:
    return lambda version, *names: load_names(tmp_path, version, *names)


@pytest.fixture
def registrar() -> Person:
    return make_person("Registrar under test", roles=["registrar"])


def held(typed: str, *, n: int = 3) -> Lot:
    """A lot that came in under a name, with animals."""
    lot = make_lot(taxon=taxa_for([typed], now=NOW)[typed], verbatim_identification=typed)
    make_event(lot=lot, unknown=n, permit_number="HISFB 1/24")
    lot.refresh_from_db()
    return lot


def test_a_renamed_taxon_keeps_its_lots_and_both_names_with_their_dates(
    load: Load, registrar: Person
) -> None:
    old = load("2025", Name("Gobiusculus flavescens", family="Gobiidae"))
    lot = held("Gobiusculus flavescens")
    new = load(
        "2026",
        Name("Pomatoschistus flavescens", "(Tester, 1900)", family="Oxudercidae"),
        Name("Gobiusculus flavescens", of="Pomatoschistus flavescens", of_author="(Tester, 1900)"),
    )
    assert current_release() == old
    done = adopt(new, by=registrar, now=LATER)
    assert (done.followed, done.asked, done.lots_moved) == (1, 0, 0)
    taxon = Taxon.objects.get()
    assert (taxon.scientific_name, taxon.authorship, taxon.family, taxon.genus) == (
        "Pomatoschistus flavescens", "(Tester, 1900)", "Oxudercidae", "Pomatoschistus",
    )  # fmt: skip
    history = [(row.scientific_name, row.since, row.release, row.decided_by) for row in taxon.names.all()]
    assert history == [
        ("Gobiusculus flavescens", NOW, old, None),
        ("Pomatoschistus flavescens", LATER, new, registrar),
    ]
    lot.refresh_from_db()
    assert (lot.taxon, lot.verbatim_identification, lot.held) == (taxon, "Gobiusculus flavescens", 3)
    assert current_release() == new


def test_the_adoption_and_each_change_are_written_down_for_good(load: Load, registrar: Person) -> None:
    old = load("2025", SENILE, DIANTHUS)
    held("Metridium senile", n=4)
    new = load("2026", DIANTHUS, SENILE_OF_DIANTHUS)
    adopt(new, by=registrar, now=LATER)
    adoption = ReleaseAdoption.objects.get(by=registrar)
    assert (adoption.release, adoption.from_release, adoption.at, adoption.counts) == (
        new, old, LATER, {"renamed": 1},
    )  # fmt: skip
    change = adoption.changes.get()
    assert (change.before["scientific_name"], change.after["scientific_name"]) == (SENILE.name, DIANTHUS.name)
    assert (change.n_lots, change.n_held, change.permits) == (1, 4, ["HISFB 1/24"])
    decision = NameDecision.objects.get()
    assert (decision.kind, decision.scientific_name, decision.decided_by, decision.check_of) == (
        DecisionKind.RELEASE_ADOPTED, DIANTHUS.name, registrar, change.check_of,
    )  # fmt: skip
    assert change.check_of.state == CheckState.DECIDED
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        ReleaseAdoption.objects.update(counts={})
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        AdoptedChange.objects.update(why="")
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        AdoptedChange.objects.all().delete()


def test_a_merge_moves_the_lots_and_counts_nothing_otherwise(load: Load, registrar: Person) -> None:
    load("2025", SENILE, DIANTHUS)
    stays, moves = held("Metridium senile", n=4), held("Metridium dianthus", n=7)
    new = load("2026", SENILE, DIANTHUS_OF_SENILE)
    done = adopt(new, by=registrar, now=LATER)
    assert done.lots_moved == 1
    assert set(Lot.objects.values_list("accession", "taxon__scientific_name", "held")) == {
        (stays.accession, SENILE.name, 4), (moves.accession, SENILE.name, 7),
    }  # fmt: skip
    joined = Taxon.objects.get(scientific_name=DIANTHUS.name)
    assert joined.joined_into == stays.taxon
    assert [name.scientific_name for name in joined.names.all()] == [DIANTHUS.name, SENILE.name]
    moved = MovedLot.objects.get()
    assert (moved.accession, moved.from_taxon, moved.to_taxon, moved.at) == (
        moves.accession, joined, stays.taxon, LATER,
    )  # fmt: skip


def test_a_status_that_flips_and_flips_back_gives_the_first_name_again(load: Load, registrar: Person) -> None:
    load("2024", SENILE, DIANTHUS_OF_SENILE)
    lot = held("Metridium senile")
    for version, names, now in (
        ("2025", (DIANTHUS, SENILE_OF_DIANTHUS), LATER),
        ("2026", (SENILE, DIANTHUS_OF_SENILE), STILL_LATER),
    ):
        adopt(load(version, *names), by=registrar, now=now)
    lot.refresh_from_db()
    assert lot.taxon.scientific_name == SENILE.name
    assert [name.scientific_name for name in lot.taxon.names.all()] == [
        SENILE.name,
        DIANTHUS.name,
        SENILE.name,
    ]
    assert list(ReleaseAdoption.objects.values_list("counts", flat=True))[1:] == [{"status_changed": 1}] * 2


def test_a_name_freed_by_a_merge_can_be_taken_again(load: Load, registrar: Person) -> None:
    load("2024", SENILE, DIANTHUS)
    lot, other = held("Metridium senile"), held("Metridium dianthus")
    adopt(load("2025", SENILE, DIANTHUS_OF_SENILE), by=registrar, now=LATER)
    adopt(load("2026", DIANTHUS, SENILE_OF_DIANTHUS), by=registrar, now=STILL_LATER)
    assert {one.taxon.scientific_name for one in Lot.objects.all()} == {DIANTHUS.name}
    other.refresh_from_db()
    assert other.taxon == lot.taxon


def test_names_that_change_places_change_places(load: Load, registrar: Person) -> None:
    load("2025", Name("Alpha una", "Ahlberg, 1900"), Name("Beta dua", "Brandt, 1900"))
    first, second = held("Alpha una"), held("Beta dua")
    new = load(
        "2026",
        Name("Beta dua", "Ahlberg, 1900"),
        Name("Alpha una", "Brandt, 1900"),
        Name("Alpha una", "Ahlberg, 1900", of="Beta dua", of_author="Ahlberg, 1900"),
        Name("Beta dua", "Brandt, 1900", of="Alpha una", of_author="Brandt, 1900"),
    )
    adopt(new, by=registrar, now=LATER)
    for lot, name in ((first, "Beta dua"), (second, "Alpha una")):
        lot.refresh_from_db()
        assert lot.taxon.scientific_name == name


def test_a_gone_name_stays_and_is_asked(load: Load, registrar: Person) -> None:
    load("2025", SENILE, DIANTHUS)
    lot = held("Metridium senile")
    new = load("2026", DIANTHUS)
    done = adopt(new, by=registrar, now=LATER)
    assert (done.followed, done.asked) == (0, 1)
    check = NameCheck.objects.get()
    assert (check.typed, check.verdict, check.taxon, check.state, check.release) == (
        SENILE.name, "not_found", lot.taxon, CheckState.TO_REVIEW, new,
    )  # fmt: skip
    assert Taxon.objects.get().scientific_name == SENILE.name
    assert not NameDecision.objects.exists()


def split_names() -> tuple[Name, ...]:
    a, b = Name("Alpha una", "(T, 1900)"), Name("Beta una", "(T, 1900)", family="Aliidae")
    return (
        a,
        b,
        Name("Zeta una", of=a.name, of_author=a.author),
        Name("Zeta una", of=b.name, of_author=b.author),
    )


def with_two_ids(names: tuple[Name, ...]) -> tuple[Name, ...]:
    """The same synonym twice: taxonIDs are made of name and author, so one author is written otherwise."""
    return (*names[:3], replace(names[3], author="Tester,  1900"))


def test_a_split_is_asked_and_never_guessed(load: Load, registrar: Person) -> None:
    load("2025", Name("Zeta una"))
    lot = held("Zeta una")
    adopt(load("2026", *with_two_ids(split_names())), by=registrar, now=LATER)
    check = NameCheck.objects.get()
    assert (check.verdict, check.taxon, check.state) == ("ambiguous", lot.taxon, CheckState.TO_REVIEW)
    assert sorted(choice["name"] for choice in check.choices) == ["Alpha una", "Beta una"]
    assert Taxon.objects.get().scientific_name == "Zeta una"


def test_a_split_is_answered_lot_by_lot_and_the_rest_waits(load: Load, registrar: Person) -> None:
    load("2025", Name("Zeta una"))
    first, second, third = (held("Zeta una", n=n) for n in (1, 2, 4))
    Taxon.objects.update(count_class="B", can_divide=True)
    new = load("2026", *with_two_ids(split_names()))
    done = adopt(
        new,
        by=registrar,
        now=LATER,
        decisions={first.accession: "Alpha una", second.accession: "Beta una"},
    )
    assert done.lots_moved == 2
    stand = dict(Lot.objects.values_list("accession", "taxon__scientific_name"))
    assert stand == {
        first.accession: "Alpha una", second.accession: "Beta una", third.accession: "Zeta una",
    }  # fmt: skip
    made = Taxon.objects.get(scientific_name="Beta una")
    assert (made.count_class, made.can_divide, made.family) == ("B", True, "Aliidae")
    assert NameCheck.objects.get().state == CheckState.TO_REVIEW
    assert set(NameDecision.objects.values_list("scientific_name", "lots_touched")) == {
        ("Alpha una", 1), ("Beta una", 1),
    }  # fmt: skip
    assert Lot.objects.aggregate(n=Sum("held"))["n"] == 7


def test_a_split_with_every_lot_answered_leaves_the_queue(load: Load, registrar: Person) -> None:
    load("2025", Name("Zeta una"))
    lot = held("Zeta una")
    new = load("2026", *with_two_ids(split_names()))
    adopt(new, by=registrar, now=LATER, decisions={lot.accession: "Beta una"})
    assert NameCheck.objects.get().state == CheckState.DECIDED


@pytest.mark.parametrize(
    ("decisions", "what"),
    [({"NOBODY": "Alpha una"}, "Lot NOBODY is not asked for"), ({"": "Gamma"}, "expected one of Alpha una")],
)
def test_an_answer_that_was_not_asked_for_is_refused_and_nothing_is_done(
    decisions: dict[str, str], what: str, load: Load, registrar: Person
) -> None:
    old = load("2025", Name("Zeta una"))
    lot = held("Zeta una")
    new = load("2026", *with_two_ids(split_names()))
    given = {accession or lot.accession: name for accession, name in decisions.items()}
    with pytest.raises(AdoptionRefused, match=what):
        adopt(new, by=registrar, now=LATER, decisions=given)
    assert current_release() == old
    assert not NameCheck.objects.exists()


def test_lots_of_a_synonym_that_is_a_species_again_go_where_the_review_says(
    load: Load, registrar: Person
) -> None:
    load("2025", SENILE, DIANTHUS_OF_SENILE)
    stays, asked = held("Metridium senile"), held("Metridium dianthus")
    Taxon.objects.update(count_class="C")
    assert stays.taxon == asked.taxon
    adopt(load("2026", SENILE, DIANTHUS), by=registrar, now=LATER)
    check = NameCheck.objects.get()
    assert (check.typed, check.state) == (DIANTHUS.name, CheckState.TO_REVIEW)
    review(check.pk, kind=DecisionKind.ACCEPT_SUGGESTION, by=registrar, now=STILL_LATER)
    assert dict(Lot.objects.values_list("accession", "taxon__scientific_name")) == {
        stays.accession: SENILE.name, asked.accession: DIANTHUS.name,
    }  # fmt: skip
    assert Taxon.objects.get(scientific_name=DIANTHUS.name).count_class == "C"


def test_a_release_in_use_is_not_adopted_again(load: Load, registrar: Person) -> None:
    load("2025", SENILE)
    held("Metridium senile")
    new = load("2026", DIANTHUS, SENILE_OF_DIANTHUS)
    adopt(new, by=registrar, now=LATER)
    with pytest.raises(AdoptionRefused, match=r"in use already since 2026-11-05, adopted by Registrar"):
        adopt(new, by=registrar, now=STILL_LATER)
    assert TaxonName.objects.count() == 2
    assert ReleaseAdoption.objects.filter(release=new).count() == 1


@pytest.mark.parametrize(
    ("roles", "allowed"),
    [(["registrar"], True), (["curator"], True), (["aquarist", "administrator"], False), ([], False)],
)
def test_registrar_or_curator_adopts(roles: list[str], allowed: bool, load: Load) -> None:
    load("2025", SENILE)
    held("Metridium senile")
    new = load("2026", DIANTHUS, SENILE_OF_DIANTHUS)
    by = make_person("Somebody", roles=roles)
    if allowed:
        adopt(new, by=by, now=LATER)
    else:
        with pytest.raises(AdoptionRefused, match="Somebody is neither registrar nor curator"):
            adopt(new, by=by, now=LATER)
    assert (current_release() == new) is allowed


def test_a_release_that_changes_nothing_comes_into_use_by_itself_and_that_is_written_down(
    load: Load,
) -> None:
    old = load("2025", SENILE)
    held("Metridium senile")
    new = load("2026", SENILE, Name("Alpha una"))
    assert current_release() == new
    first, second = ReleaseAdoption.objects.all()
    assert (first.release, first.from_release, first.by, first.at) == (old, None, None, NOW)
    assert (second.release, second.from_release, second.by, second.at) == (new, old, None, NOW)


def test_queries_of_an_adoption_do_not_grow_with_the_names_that_follow(load: Load, registrar: Person) -> None:
    names = [Name(f"Alpha numero{chr(97 + n)}") for n in range(12)]

    def moved(year: str, genus: str, some: list[Name]) -> BackboneRelease:
        accepted = [replace(name, name=name.name.replace("Alpha", genus), author="(T, 1)") for name in some]
        old = [
            replace(name, of=new.name, of_author=new.author) for name, new in zip(some, accepted, strict=True)
        ]
        rest = [name for name in names if name not in some]
        return load(year, *accepted, *old, *rest)

    def queries(release: BackboneRelease) -> int:
        with CaptureQueriesContext(connection) as captured:
            adopt(release, by=Person.objects.get(pk=registrar.pk), now=LATER)
        return len(captured)

    load("2024", *names)
    for name in names:
        held(name.name)
    few = queries(moved("2025", "Beta", names[:1]))
    many = queries(moved("2026", "Beta", names))
    assert many == few


def test_the_commands_show_and_take_a_release(load: Load, registrar: Person, frozen_clock: object) -> None:
    load("2025", SENILE, DIANTHUS)
    held("Metridium senile", n=4)
    held("Metridium dianthus", n=2)
    load("2026", SENILE, DIANTHUS_OF_SENILE)
    out, err = StringIO(), StringIO()
    call_command("backbone", "compare", "--format", "csv", stdout=out, stderr=err)
    header, row = out.getvalue().splitlines()
    assert header == "consequence,name,authorship,new_name,new_authorship,why,also,lots,animals,permits"
    assert row.startswith('merged,Metridium dianthus,"(Ellis, 1768)",Metridium senile,"(Linnaeus, 1761)"')
    assert row.endswith(",1,2,HISFB 1/24")
    assert "1 changes in 2 names in use" in err.getvalue()
    call_command("backbone", "compare", "2026", stdout=out, stderr=err)
    assert "Merged: two taxa of ours become one (1)" in out.getvalue()
    call_command("backbone", "adopt", "2026", "--by", registrar.name, stdout=out, stderr=err)
    assert "1 lots moved" in err.getvalue()
    out, err = StringIO(), StringIO()
    call_command("backbone", "compare", "--format", "csv", stdout=out, stderr=err)
    assert "2026 was loaded last and is in use: no newer one waits." in err.getvalue()
    assert "0 changes in" in err.getvalue(), "the older release is not taken for news"
    for arguments, code, what in (
        (("adopt", "2026", "--by", registrar.name), 1, "in use already"),
        (("adopt", "2099", "--by", registrar.name), 2, "no loaded release"),
        (("adopt", "2025", "--by", "Nobody"), 2, "nobody in the list of people"),
        (("adopt", "2025", "--by", registrar.name, "--lot", "X"), 2, "expected ACCESSION=NAME"),
    ):
        with pytest.raises(CommandError, match=what) as refused:
            call_command("backbone", *arguments, stdout=out, stderr=err)
        assert refused.value.returncode == code
