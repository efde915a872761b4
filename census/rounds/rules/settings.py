"""The numbers of the census that a registrar can change, each with its name and default.

All of them are judgement (*common practice, no source*): they are shown to a working registrar
and changed here, by passing another :class:`CensusSettings` to the rules.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CensusSettings:
    """Per cent are whole numbers; a share of animals is always rounded down."""

    tolerance_a: int = 0
    tolerance_b_small_limit: int = 20
    tolerance_b_percent: int = 5
    tolerance_b_min: int = 1
    tolerance_c_percent: int = 10
    tolerance_c_min: int = 2
    recount_within_hours: int = 72
    recount_rounds_max: int = 3
    presence_step_flag: int = 2
    drift_run_length: int = 3
    registrar_limit_animals: int = 5
    registrar_limit_percent: int = 5
    registrar_limit_unexplained_animals: int = 2
    registrar_limit_unexplained_percent: int = 2
    tank_loss_alarm_census_percent: int = 10
    double_entry_minutes: int = 10
    late_entry_warning_days: int = 3
    individual_search_days: int = 14
    young_count_in_days: int = 30


DEFAULTS = CensusSettings()
