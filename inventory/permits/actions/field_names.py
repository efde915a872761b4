"""The taxon of each name on a slip: read by the permit and the house, else asked of the backbone."""

from collections.abc import Mapping
from datetime import datetime

from inventory.names.actions.taxa import taxa_for
from inventory.names.models import Taxon
from inventory.people.models import Person

from ..queries.field_names import NameRead


def taxa_of(names: Mapping[str, NameRead], *, where: str, by: Person, now: datetime) -> dict[str, Taxon]:
    """The taxon of each name as written; what is not certain waits in the review of names."""
    unknown = list(dict.fromkeys(name.asked for name in names.values() if name.taxon is None))
    made = taxa_for(unknown, now=now, by=by, where_from=where) if unknown else {}
    return {name.written: name.taxon or made[name.asked] for name in names.values()}
