"""The estimators by name, with the values that each takes: what a command or a page asks for."""

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from .carle_strub import carle_strub
from .counts import full, passes
from .estimate import Estimate
from .marked import ChapmanInterval, chapman, petersen
from .observers import two_observers, two_observers_swapped
from .proportions import clopper_pearson, wilson
from .rates import poisson
from .ratio import ratio
from .removal import RemovalForm, removal
from .sampling import squares, strata
from .schnabel import SchnabelForm, schnabel


class Kind(StrEnum):
    """How a value is written."""

    WHOLE = "whole number"
    NUMBER = "number"
    WHOLES = "whole numbers with commas between"
    NUMBERS = "numbers with commas between"
    STRATA = "numbers with commas between, a slash between strata"
    WORD = "word"


@dataclass(frozen=True, slots=True)
class Value:
    """One value that a method takes; `words` are those allowed for a word."""

    name: str
    kind: Kind
    meaning: str
    optional: bool = False
    words: type[StrEnum] | None = None


@dataclass(frozen=True, slots=True)
class Method:
    """One estimator; `function` takes the values as keywords."""

    name: str
    about: str
    function: Callable[..., Estimate]
    example: str
    values: tuple[Value, ...] = field(default_factory=tuple)

    def estimate(self, values: dict[str, Any]) -> Estimate:
        """Raises CannotEstimate."""
        return self.function(**values)


_MARKED = (
    Value("marked", Kind.WHOLE, "animals marked and let go"),
    Value("caught", Kind.WHOLE, "animals caught or looked at later"),
    Value("recaptured", Kind.WHOLE, "those of them with a mark"),
)
_SHARE = (
    Value("cases", Kind.WHOLE, "animals of which it is true"),
    Value("of", Kind.WHOLE, "animals in all"),
)
_CATCHES = Value("catches", Kind.WHOLES, "animals taken out, pass by pass")

_ALL = (
    Method(
        "full", "one count of everything", full, "full count=37",
        (Value("count", Kind.WHOLE, "animals counted"),),
    ),
    Method(
        "passes", "several counts or pictures: median and range", passes, "passes counts=61,58,64",
        (Value("counts", Kind.WHOLES, "animals in each pass or picture"),),
    ),
    Method(
        "two_observers", "two who count apart at the same time", two_observers,
        "two_observers first=31 second=28 both=25",
        (
            Value("first", Kind.WHOLE, "animals that the first saw"),
            Value("second", Kind.WHOLE, "animals that the second saw"),
            Value("both", Kind.WHOLE, "animals that both saw"),
        ),
    ),
    Method(
        "two_observers_swapped", "one leads, the other adds what was missed; then they swap",
        two_observers_swapped,
        "two_observers_swapped first_leads=60 second_adds=10 second_leads=55 first_adds=12",
        (
            Value("first_leads", Kind.WHOLE, "seen by the first where the first leads"),
            Value("second_adds", Kind.WHOLE, "added there by the second"),
            Value("second_leads", Kind.WHOLE, "seen by the second where the second leads", optional=True),
            Value("first_adds", Kind.WHOLE, "added there by the first", optional=True),
        ),
    ),
    Method(
        "petersen", "marked, then seen again once", petersen,
        "petersen marked=948 caught=421 recaptured=167", _MARKED,
    ),
    Method(
        "chapman", "as petersen, nearly unbiased", chapman,
        "chapman marked=421 caught=332 recaptured=88",
        (
            *_MARKED,
            Value("interval", Kind.WORD, "which interval; by size when left out", True, ChapmanInterval),
        ),
    ),
    Method(
        "schnabel", "marked and seen again over several catches", schnabel,
        "schnabel caught=20,24,19,22 recaptured=0,5,8,11",
        (
            Value("caught", Kind.WHOLES, "animals caught, catch by catch"),
            Value("recaptured", Kind.WHOLES, "those of them with a mark"),
            Value("returned", Kind.WHOLES, "let go with a mark; all when left out", optional=True),
            Value("form", Kind.WORD, "which estimate", optional=True, words=SchnabelForm),
        ),
    ),
    Method(
        "removal", "taken out in passes: two-pass, or maximum likelihood", removal,
        "removal catches=45,11,18,8",
        (_CATCHES, Value("form", Kind.WORD, "which likelihood", optional=True, words=RemovalForm)),
    ),
    Method(
        "carle_strub", "taken out in passes, weighted likelihood", carle_strub,
        "carle_strub catches=38,26,12", (_CATCHES,),
    ),
    Method(
        "squares", "equal sample squares", squares, "squares counts=3,0,5,2,4,1,2,6,0,3 total_squares=80",
        (
            Value("counts", Kind.NUMBERS, "animals in each square drawn"),
            Value("total_squares", Kind.WHOLE, "squares in the whole area"),
        ),
    ),
    Method(
        "strata", "sample squares in several kinds of ground", strata,
        "strata counts=3,0,5,2,4/11,9,14,8,12 total_squares=60,20",
        (
            Value("counts", Kind.STRATA, "animals in each square drawn"),
            Value("total_squares", Kind.WHOLES, "squares in each stratum"),
        ),
    ),
    Method(
        "ratio", "counted portions of what is weighed or measured whole", ratio,
        "ratio counts=212,198,205,221,209 weights=50,48,50,51,50 total_weight=1840",
        (
            Value("counts", Kind.NUMBERS, "animals in each portion"),
            Value("weights", Kind.NUMBERS, "weight or volume of each portion"),
            Value("total_weight", Kind.NUMBER, "weight or volume of the whole, in the same unit"),
        ),
    ),
    Method("wilson", "a share, score interval", wilson, "wilson cases=81 of=263", _SHARE),
    Method(
        "clopper_pearson", "a share, exact interval", clopper_pearson,
        "clopper_pearson cases=81 of=263", _SHARE,
    ),
    Method(
        "poisson", "a rate, exact interval", poisson, "poisson count=3 exposure=1200 per=1000",
        (
            Value("count", Kind.WHOLE, "events seen, such as deaths"),
            Value("exposure", Kind.NUMBER, "in how many animal-days; 1 when left out", optional=True),
            Value("per", Kind.NUMBER, "give the rate per so many; 1 when left out", optional=True),
        ),
    ),
)  # fmt: skip

METHODS = {method.name: method for method in _ALL}
