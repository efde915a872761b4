"""The population change by another road: pandas, from what the events say of themselves.

The program reads the column of a flow from its two accounts, in SQL and in its own arithmetic. Here the
column comes from the kind of the event, and the sums from pandas (https://pandas.pydata.org), which knows
nothing of the house. Two roads that share no code must end at the same figures.
"""

from dataclasses import replace

import pandas as pd
import pytest
from django.db.models import Case, CharField, F, Value, When
from django.utils.timezone import get_current_timezone

from census.change.queries.report import change_report
from census.change.rules.question import Basis, By
from inventory.book.models import Flow
from inventory.book.rules.happened import end_of_day, start_of_day
from inventory.book.rules.scope import Scope
from tests.change.sample import THIRD_QUARTER, make_sample

pytestmark = pytest.mark.django_db

QUESTION = replace(THIRD_QUARTER, basis=Basis.KNOWN, scope=Scope.HERE)
# Kinds that bring animals to the premises, and kinds that take them away. A loan out leaves them.
IN = ("taken", "received", "loan_in", "back_from_loan", "born", "divided", "settled", "found")
OUT = ("died", "put_down", "released", "sent", "loan_out", "given_back", "unaccounted")


def _flows() -> pd.DataFrame:
    """One row a flow. A reversal stands as minus its event: the same kind, ends changed back, n negative."""
    ends = {
        f"{end}_{name}": F(f"{end}_cell__{path}")
        for end in ("from", "to")
        for name, path in (
            ("name", "lot__taxon__scientific_name"),
            ("unit", "lot__unit"),
            ("place", "account__place__code"),
            ("place_kind", "account__place__kind"),
        )
    }
    kind = Case(
        When(event__reverses=None, then=F("event__kind")),
        default=F("event__reverses__kind"),
        output_field=CharField(),
    )
    back = Case(When(event__reverses=None, then=Value(False)), default=Value(True))
    flows = pd.DataFrame(list(Flow.objects.values("n", "effective_at", **ends, of_kind=kind, back=back)))
    columns = ["name", "unit", "place", "place_kind"]
    one, other = [f"from_{c}" for c in columns], [f"to_{c}" for c in columns]
    flows.loc[flows.back, [*one, *other]] = flows.loc[flows.back, [*other, *one]].to_numpy()
    flows.loc[flows.back, "n"] *= -1
    # "Seen again" of animals that had been written off undoes an earlier "unaccounted".
    seen = (flows.of_kind == "seen_again") & flows.from_place.isna()
    flows.loc[seen, [*one, *other]] = flows.loc[seen, [*other, *one]].to_numpy()
    flows.loc[seen, "of_kind"] = "unaccounted"
    flows.loc[seen, "n"] *= -1
    for end in ("from", "to"):
        flows[f"{end}_here"] = flows[f"{end}_place"].notna() & (flows[f"{end}_place_kind"] != "off_site")
    return flows


def _sum(flows: pd.DataFrame, end: str, keys: list[str]) -> pd.Series:
    here = flows[flows[f"{end}_here"]]
    return here.groupby([f"{end}_{key}" for key in keys]).n.sum().rename_axis(keys)


def _by_pandas(keys: list[str]) -> pd.DataFrame:
    zone = get_current_timezone()
    flows = _flows()
    start = start_of_day(QUESTION.first_day, zone)
    end = end_of_day(QUESTION.last_day, zone)
    before, until = flows[flows.effective_at < start], flows[flows.effective_at < end]
    during = until[until.effective_at >= start]
    loaded = during[during.of_kind == "opening"]
    columns = {
        "opening": _sum(pd.concat([before, loaded]), "to", keys).sub(
            _sum(before, "from", keys), fill_value=0
        ),
        "closing": _sum(until, "to", keys).sub(_sum(until, "from", keys), fill_value=0),
    }
    columns |= {kind: _sum(during[during.of_kind == kind], "to", keys) for kind in IN}
    columns |= {kind: _sum(during[during.of_kind == kind], "from", keys) for kind in OUT}
    table = pd.DataFrame(columns).fillna(0).astype(int)
    return table[(table != 0).any(axis=1)].sort_index()


@pytest.mark.parametrize("by", [By.TAXON, By.PLACE])
def test_the_report_and_a_data_frame_of_the_events_agree(by: By) -> None:
    make_sample()
    keys = ["name", "unit"] if by is By.TAXON else ["place", "name", "unit"]
    report = change_report(replace(QUESTION, by=by), zone=get_current_timezone())
    ours = pd.DataFrame(report.records())
    # The events do not say how old a dead animal was: all deaths together.
    ours["died"] += ours["died_within_30_days"]
    table = ours.set_index(keys)[["opening", "closing", *IN, *OUT]].astype(int)
    expected = _by_pandas(keys)
    pd.testing.assert_frame_equal(table[(table != 0).any(axis=1)].sort_index(), expected, check_names=False)
    assert expected[list(IN)].to_numpy().sum() > 0
    assert expected[list(OUT)].to_numpy().sum() > 0
