"""The numbers that a registrar can change, with their history."""

from dataclasses import fields
from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from census.rounds.rules.settings import DEFAULTS, CensusSettings, settings_from
from inventory.book.actions.settings import NotChanged, change_number
from inventory.book.models import Setting
from inventory.book.queries.settings import numbers_in_use, numbers_with_history
from inventory.book.rules.settings import NAMED, check_number, in_use
from tests.factories import NOW, make_person

# Section 12 of the house's own census procedure: judgement, *common practice, no source*.
STATED = {
    "quiet_hours_before_count": 24,
    "count_window_days_before": 5,
    "count_window_days_after": 5,
    "joined_session_max_hours": 2,
    "pair_apart_minutes": 15,
    "recount_within_hours": 72,
    "random_recount_percent": 5,
    "random_recount_min_lines": 3,
    "recount_rounds_max": 3,
    "tolerance_a": 0,
    "tolerance_b_small_limit": 20,
    "tolerance_b_percent": 5,
    "tolerance_b_min": 1,
    "tolerance_c_percent": 10,
    "tolerance_c_min": 2,
    "passes_min_class_c": 3,
    "presence_step_flag": 2,
    "drift_run_length": 3,
    "minimum_count_run_length": 4,
    "individual_search_days": 14,
    "individual_not_seen_censuses": 2,
    "individual_not_seen_days": 30,
    "write_off_earliest_days": 60,
    "registrar_limit_animals": 5,
    "registrar_limit_percent": 5,
    "registrar_limit_unexplained_animals": 2,
    "registrar_limit_unexplained_percent": 2,
    "tank_loss_alarm_census_percent": 10,
    "tank_loss_alarm_year_percent": 20,
    "mass_death_in_day": 3,
    "mass_death_lot_percent": 5,
    "sample_sheets_percent": 10,
    "sample_sheets_min": 3,
    "sample_lines_per_sheet": 5,
    "sample_list_to_floor": 10,
    "sample_floor_to_list": 10,
    "restatement_class_a": 1,
    "restatement_animals": 5,
    "restatement_percent": 5,
    "late_entry_warning_days": 3,
    "double_entry_minutes": 10,
    "double_entry_list_hours": 24,
    "young_count_in_days": 30,
    "undo_minutes": 10,
    "spot_count_days": 31,
    "full_count_class_d_days": 366,
    "permit_reminder_days_first": 90,
    "permit_reminder_days_second": 30,
    "permit_reminder_days_last": 7,
    "protected_death_notice_days": 7,
    "close_target_days": 15,
    "close_chase_days": 20,
}


def test_the_defaults_are_those_of_the_procedure() -> None:
    assert in_use([]) == STATED
    assert settings_from(STATED) == DEFAULTS == CensusSettings()


def test_every_number_of_the_census_is_a_named_one_and_each_default_lies_in_its_bounds() -> None:
    assert {one.name for one in fields(CensusSettings)} <= set(NAMED)
    assert [name for name in NAMED if check_number(name, NAMED[name].default)] == []


def test_the_last_change_counts_and_unknown_names_are_passed_over() -> None:
    changes = [("recount_rounds_max", 2), ("gone_since", 1), ("recount_rounds_max", 3)]
    assert in_use(changes)["recount_rounds_max"] == 3
    assert "gone_since" not in in_use(changes)


@pytest.mark.django_db
def test_a_registrar_changes_a_number_from_a_moment_on() -> None:
    runa = make_person("Runa", roles=["registrar"])
    made = change_number(name="quiet_hours_before_count", value=36, by=runa, now=NOW, why="shy fish")
    assert made is not None
    assert numbers_in_use()["quiet_hours_before_count"] == 36
    assert numbers_in_use(at=NOW - timedelta(seconds=1))["quiet_hours_before_count"] == 24
    assert change_number(name="quiet_hours_before_count", value=36, by=runa, now=NOW) is None
    rows = {row.name: row for row in numbers_with_history()}
    assert rows["quiet_hours_before_count"].value == 36
    assert [change.why for change in rows["quiet_hours_before_count"].changes] == ["shy fish"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        ("recount_rounds_max", 4, "recount_rounds_max is 1 to 3 counts, not 4"),
        ("tolerance_c_percent", 101, "0 to 100 per cent"),
        ("luck", 1, "'luck' is no named number"),
    ],
)
def test_what_cannot_be_is_refused_with_its_bounds(name: str, value: int, told: str) -> None:
    with pytest.raises(NotChanged, match=told):
        change_number(name=name, value=value, by=make_person(roles=["registrar"]), now=NOW)
    assert not Setting.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("role", ["curator", "aquarist", "inspector", "administrator"])
def test_nobody_else_changes_a_number(role: str) -> None:
    with pytest.raises(NotChanged, match="is no registrar"):
        change_number(name="tolerance_a", value=1, by=make_person(roles=[role]), now=NOW)


@pytest.mark.django_db
def test_a_change_is_kept_for_ever() -> None:
    change_number(name="tolerance_a", value=1, by=make_person(roles=["registrar"]), now=NOW)
    with pytest.raises(IntegrityError), transaction.atomic():
        Setting.objects.update(value=2)
    with pytest.raises(IntegrityError), transaction.atomic():
        Setting.objects.all().delete()
