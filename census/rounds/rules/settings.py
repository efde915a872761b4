"""The named numbers that the census works with; their list, defaults and bounds are the book's.

All of them are judgement (*common practice, no source*). The rules are told them, and never read
them: what is in use stands in the database (``census.rounds.queries.settings``).
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields

from inventory.book.rules.settings import default_of as _of


@dataclass(frozen=True, slots=True)
class CensusSettings:
    """Per cent are whole numbers; a share of animals is always rounded down."""

    quiet_hours_before_count: int = _of("quiet_hours_before_count")
    count_window_days_before: int = _of("count_window_days_before")
    count_window_days_after: int = _of("count_window_days_after")
    joined_session_max_hours: int = _of("joined_session_max_hours")
    pair_apart_minutes: int = _of("pair_apart_minutes")
    recount_within_hours: int = _of("recount_within_hours")
    random_recount_percent: int = _of("random_recount_percent")
    random_recount_min_lines: int = _of("random_recount_min_lines")
    recount_rounds_max: int = _of("recount_rounds_max")
    tolerance_a: int = _of("tolerance_a")
    tolerance_b_small_limit: int = _of("tolerance_b_small_limit")
    tolerance_b_percent: int = _of("tolerance_b_percent")
    tolerance_b_min: int = _of("tolerance_b_min")
    tolerance_c_percent: int = _of("tolerance_c_percent")
    tolerance_c_min: int = _of("tolerance_c_min")
    passes_min_class_c: int = _of("passes_min_class_c")
    presence_step_flag: int = _of("presence_step_flag")
    drift_run_length: int = _of("drift_run_length")
    minimum_count_run_length: int = _of("minimum_count_run_length")
    individual_search_days: int = _of("individual_search_days")
    individual_not_seen_censuses: int = _of("individual_not_seen_censuses")
    individual_not_seen_days: int = _of("individual_not_seen_days")
    write_off_earliest_days: int = _of("write_off_earliest_days")
    registrar_limit_animals: int = _of("registrar_limit_animals")
    registrar_limit_percent: int = _of("registrar_limit_percent")
    registrar_limit_unexplained_animals: int = _of("registrar_limit_unexplained_animals")
    registrar_limit_unexplained_percent: int = _of("registrar_limit_unexplained_percent")
    tank_loss_alarm_census_percent: int = _of("tank_loss_alarm_census_percent")
    tank_loss_alarm_year_percent: int = _of("tank_loss_alarm_year_percent")
    sample_sheets_percent: int = _of("sample_sheets_percent")
    sample_sheets_min: int = _of("sample_sheets_min")
    sample_lines_per_sheet: int = _of("sample_lines_per_sheet")
    sample_list_to_floor: int = _of("sample_list_to_floor")
    sample_floor_to_list: int = _of("sample_floor_to_list")
    restatement_class_a: int = _of("restatement_class_a")
    restatement_animals: int = _of("restatement_animals")
    restatement_percent: int = _of("restatement_percent")
    late_entry_warning_days: int = _of("late_entry_warning_days")
    double_entry_minutes: int = _of("double_entry_minutes")
    young_count_in_days: int = _of("young_count_in_days")
    spot_count_days: int = _of("spot_count_days")
    full_count_class_d_days: int = _of("full_count_class_d_days")
    close_target_days: int = _of("close_target_days")
    close_chase_days: int = _of("close_chase_days")


DEFAULTS = CensusSettings()


def settings_from(numbers: Mapping[str, int]) -> CensusSettings:
    """The settings made of the named numbers in use; others than the census's are passed over."""
    return CensusSettings(**{one.name: numbers[one.name] for one in fields(CensusSettings)})
