"""What an inspector may read, page by page, as the page of the inspection tells it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Readable:
    """A page that an inspector may open, and what is there. ``url_name`` takes no part of an address."""

    url_name: str
    words: str
    about: str


READABLE = (
    Readable("lots", "Find animals", "every lot with its story, and its history with what was refused"),
    Readable("places", "Places", "what lives where, and the history of each tank"),
    Readable("permits", "Permits", "takes, limits, returns, notices, and the history of each permit"),
    Readable("census_list", "Censuses", "counts beside the book, decisions, approvals, sample tests"),
    Readable("periods", "Periods", "closings, their statements, and the figures that were changed"),
    Readable("change", "Population change", "as reported or as known; each figure opens its events"),
    Readable("reports", "Reports", "the yearly stock list and the other layouts"),
    Readable("late_entries", "Late entries", "what was entered into a closed period"),
    Readable("came_back", "Entries that came back", "what was refused at the tank side"),
    Readable("tank_sent", "Sent from devices", "each entry as it came"),
    Readable("whole_book", "The whole book", "every table, as files; exact places in the wild are left out"),
)
NOT_READ = (
    "Exact places where animals of the wild were taken: the registrar or the permit officer shows them.",
    "Sign-ins, codes and tokens: nobody reads them.",
)
