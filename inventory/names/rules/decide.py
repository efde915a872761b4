"""The matching policy: one verdict for one parsed line and what the store found for it.

In order: hybrids and several names on one line; common names; then for each reading the very
name, and a name near it; then the higher name that is left; then nothing. A name at distance one
is suggested; at two or more the person is only shown what is near. Homonyms that lead to
different taxa are never collapsed.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

from .agree import authors_agree, by_authorship, by_classification, by_rank, conflict
from .parse import Parsed, Reading
from .store import Found, Near
from .verdicts import UNSTATED, Caution, Choice, Classification, Usage, Verdict, VerdictKind

_NOTHING = frozenset[str]()
# What WoRMS and ITIS write for names that do not stand (from memory); most lead to an accepted one.
_NOT_ACCEPTED = frozenset({"unaccepted", "notaccepted", "invalid"})


def decide(
    parsed: Parsed,
    found: Found,
    *,
    stated: Classification = UNSTATED,
    rank: str = "",
    held_here: Collection[str] = _NOTHING,
) -> Verdict:
    """One verdict, whatever the line holds.

    ``stated`` and ``rank`` are what stands beside the name; ``held_here`` are accepted names held
    where the line comes from, which are offered first.
    """
    judge = _Judge(parsed, found, stated, rank, held_here)
    verdict = judge.verdict()
    if parsed.about_animal:
        verdict = _with_why(verdict, f'"{parsed.about_animal}" says something of the animal, set aside')
    return verdict


class _Judge:
    """Holds the five things every rule looks at."""

    def __init__(
        self, parsed: Parsed, found: Found, stated: Classification, rank: str, held_here: Collection[str]
    ) -> None:
        self.parsed = parsed
        self.found = found
        self.stated = stated
        self.rank = rank
        self.held_here = held_here

    def verdict(self) -> Verdict:
        parsed = self.parsed
        if parsed.is_hybrid:
            return self._hybrid()
        if parsed.parts:
            return self._several()
        common = self.found.called.get(parsed.key, ()) if parsed.key else ()
        if common and (parsed.starts_small or not self._named_readings()):
            return self._common_name(common)
        for reading in parsed.readings:
            usages = self.found.named.get(reading.canonical, ())
            if usages:
                return self._named(reading, usages)
            near = self._near_enough(reading)
            if near:
                return self._near(reading, near)
        return self._higher() or self._not_found()

    # The rules, one for each kind of answer.

    def _hybrid(self) -> Verdict:
        parents = self._choices(self._targets_of_parts())
        named = " and ".join(choice.name for choice in parents)
        why = "the sign of a hybrid stands in the line; a hybrid is never one of its parents"
        why += f"; parents in the backbone: {named}" if parents else "; no parent is in the backbone"
        return self._answer(VerdictKind.HYBRID, why, choices=parents)

    def _several(self) -> Verdict:
        targets = self._targets_of_parts()
        if not targets:
            return self._not_found("several names on one line, none of them in the backbone")
        return self._answer(
            VerdictKind.AMBIGUOUS, "several names on one line", choices=self._choices(targets)
        )

    def _common_name(self, usages: Sequence[Usage]) -> Verdict:
        fitting, against = by_classification(self.stated, _unique(usage.target for usage in usages))
        targets = fitting or against
        if len(targets) == 1:
            why = "a common name; the backbone knows it for one taxon only, so it is suggested"
            return self._answer(
                VerdictKind.COMMON_NAME, why, target=targets[0], choices=self._choices(targets)
            )
        phyla = sorted({target.classification.phylum for target in targets} - {""})
        why = f"a common name of {len(targets)} taxa"
        why += f" in {len(phyla)} phyla ({', '.join(phyla)})" if len(phyla) > 1 else ""
        return self._answer(VerdictKind.COMMON_NAME, f"{why}: choose", choices=self._choices(targets))

    def _named(self, reading: Reading, usages: Sequence[Usage]) -> Verdict:
        compared = f'"{reading.canonical}" is in the backbone letter by letter'
        if reading.note:
            compared += f" ({reading.note})"
        usages = by_rank(self.rank, by_authorship(reading.authorship, usages))
        fitting, against = by_classification(self.stated, usages)
        if not fitting:
            reasons = "; ".join(sorted({conflict(self.stated, usage) for usage in against}))
            why = f"{compared}, but there it is of {reasons}"
            targets = _unique(usage.target for usage in against)
            return self._answer(VerdictKind.AMBIGUOUS, why, choices=self._choices(targets))
        targets = _unique(usage.target for usage in fitting)
        if len(targets) > 1:
            why = f"{compared} more than once (homonyms), and leads to {len(targets)} taxa: choose"
            return self._answer(
                VerdictKind.AMBIGUOUS, why, choices=self._choices(targets, wanted=reading.canonical)
            )
        usage = next((usage for usage in fitting if usage.accepted is None), fitting[0])
        return self._one(reading, usage, compared)

    def _one(self, reading: Reading, usage: Usage, why: str) -> Verdict:
        target = usage.target
        if usage.accepted is not None:
            why += f" as a synonym of {_full(target)}"
        if usage.status and "doubt" in usage.status.casefold():
            why += "; the backbone holds the name for doubtful"
        if reading.authorship and not authors_agree(reading.authorship, usage.authorship):
            known = f'"{usage.authorship}"' if usage.authorship else "none is given"
            why += f'; author typed "{reading.authorship}", in the backbone {known}'
        if usage.remarks:
            why += f"; {usage.remarks}"
        caution = self._caution(reading.canonical, usage)
        if caution:
            return self._misapplied(caution, usage, why)
        doubt = _asks(usage)
        if doubt:
            choices = self._choices([target], wanted=reading.canonical)
            return self._answer(VerdictKind.AMBIGUOUS, f"{why}; {doubt}: a person decides", choices=choices)
        kind = self._kind(reading, usage)
        if self.parsed.qualifier:
            why += f'; "{self.parsed.qualifier}" is kept apart'
        return self._answer(kind, why, target=target)

    def _kind(self, reading: Reading, usage: Usage) -> VerdictKind:
        if not reading.species:
            is_genus = usage.target.rank.casefold() in ("genus", "subgenus")
            return VerdictKind.GENUS_ONLY if is_genus else VerdictKind.HIGHER_RANK
        if self.parsed.qualifier:
            return VerdictKind.QUALIFIED
        return VerdictKind.ACCEPTED if usage.accepted is None else VerdictKind.SYNONYM

    def _misapplied(self, caution: Caution, usage: Usage, why: str) -> Verdict:
        rights = self.found.named.get(caution.right_name, ())
        choices = (
            self._choices(_unique(right.target for right in rights))
            or (Choice(caution.right_name),)
        )  # fmt: skip
        choices = (
            *(_noted(choice, f"the name in the {caution.region}") for choice in choices),
            *(_noted(choice, "as typed") for choice in self._choices([usage.target])),
        )
        source = f" (source: {caution.source})" if caution.source else ""
        why += f"; but in the {caution.region} it is misapplied: {caution.reason}{source}. Ask the registrar"
        return self._answer(VerdictKind.MISAPPLIED, why, choices=choices)

    def _near_enough(self, reading: Reading) -> Sequence[Near]:
        near = self.found.near.get(reading, ())
        if self.parsed.starts_small:
            # A line without a capital may be any English words: only a slip of one letter counts.
            near = [one for one in near if one.total <= 1]
        near = [one for one in near if not conflict(self.stated, one.usage)]
        return sorted(near, key=lambda one: (one.total, one.usage.canonical_name, one.usage.taxon_id))

    def _near(self, reading: Reading, near: Sequence[Near]) -> Verdict:
        if reading.genus_is_abbreviated:
            why = f'the genus of "{reading.canonical}" is abbreviated: choose'
            targets = _unique(one.usage.target for one in near)
            return self._answer(VerdictKind.AMBIGUOUS, why, choices=self._choices(targets))
        # Among names equally near, the author typed or the classification stated may single one out.
        meant = by_rank(self.rank, by_authorship(reading.authorship, [one.usage for one in near]))
        meant, _ = by_classification(self.stated, meant)
        singled = len(meant) < len(near)
        near = [one for one in near if one.usage in meant]
        least, targets = near[0], _unique(usage.target for usage in meant)
        why = self._compared(reading, least)
        if singled:
            why += "; of the names equally near, what stands beside the name fits this one"
        if least.usage.accepted is not None and len(targets) == 1:
            why += f", a synonym of {_full(targets[0])}"
        choices = self._choices(targets)
        if len(targets) > 1:
            return self._answer(
                VerdictKind.AMBIGUOUS, f"{why}; {len(targets)} taxa are equally near: choose", choices=choices
            )
        caution = self._caution(least.usage.canonical_name, least.usage)
        if caution:
            return self._misapplied(caution, least.usage, why)
        if least.total > 1:
            why += "; at more than one edit a name is only shown, a person decides"
            return self._answer(VerdictKind.MISSPELLING, why, choices=choices)
        return self._answer(VerdictKind.MISSPELLING, why, target=targets[0], choices=choices)

    def _compared(self, reading: Reading, near: Near) -> str:
        words = ("genus", "epithet", "infraspecific epithet")
        apart = ", ".join(f"{word} {n}" for word, n in zip(words, near.distances, strict=False))
        known = near.usage.canonical_name
        return f'"{reading.canonical}" compared with "{known}": distance {near.total} ({apart})'

    def _higher(self) -> Verdict | None:
        """The species is not there, but what stands above it is."""
        for reading in self.parsed.readings:
            above = (f"{reading.genus} {reading.species}", reading.genus) if reading.species else ()
            for name in above:
                usages = self.found.named.get(name, ()) if name != reading.canonical else ()
                fitting, _ = by_classification(self.stated, usages)
                if fitting:
                    targets = _unique(usage.target for usage in fitting)
                    rank = targets[0].rank if len(targets) == 1 else ""
                    why = f'"{reading.canonical}" is not in the backbone, nor a name near it; {name} is'
                    return self._answer(
                        VerdictKind.HIGHER_RANK, why, rank=rank, choices=self._choices(targets)
                    )
        return None

    def _not_found(self, why: str = "") -> Verdict:
        why = why or self.parsed.trouble
        if not why:
            why = "no scientific or common name in the backbone equals it or is near it"
        return self._answer(VerdictKind.NOT_FOUND, why)

    # What the rules share.

    def _named_readings(self) -> bool:
        return any(self.found.named.get(reading.canonical) for reading in self.parsed.readings)

    def _caution(self, typed: str, usage: Usage) -> Caution | None:
        if not usage.canonical_name or usage.target.rank.casefold() == "genus":
            return None
        return self.found.cautions.get(typed) or self.found.cautions.get(usage.target.canonical_name)

    def _targets_of_parts(self) -> list[Usage]:
        targets: list[Usage] = []
        for part in self.parsed.parts:
            usages: Iterable[Usage] = (
                usage for reading in part.readings for usage in self.found.named.get(reading.canonical, ())
            )
            usages = list(usages) or self.found.called.get(part.key, ())
            targets += [usage.target for usage in usages]
        return _unique(targets)

    def _choices(self, targets: Sequence[Usage], *, wanted: str = "") -> tuple[Choice, ...]:
        def order(usage: Usage) -> tuple[bool, bool, str, str]:
            is_species = usage.rank.casefold() in ("species", "subspecies")
            return (
                usage.canonical_name not in self.held_here,
                not is_species,
                usage.canonical_name,
                usage.authorship,
            )

        return tuple(
            Choice(
                name=usage.canonical_name,
                authorship=usage.authorship,
                rank=usage.rank,
                phylum=usage.classification.phylum,
                note=self._note(usage, wanted),
            )
            for usage in sorted(targets, key=order)
        )

    def _note(self, usage: Usage, wanted: str) -> str:
        notes = []
        if usage.canonical_name in self.held_here:
            notes.append("held here")
        if usage.rank and usage.rank.casefold() not in ("species", "subspecies"):
            notes.append(f"any of this {usage.rank}")
        if wanted and usage.canonical_name != wanted:
            notes.append(f'"{wanted}" is a synonym of it')
        return ", ".join(notes)

    def _answer(
        self,
        kind: VerdictKind,
        why: str,
        *,
        target: Usage | None = None,
        rank: str = "",
        choices: tuple[Choice, ...] = (),
    ) -> Verdict:
        return Verdict(
            typed=self.parsed.typed,
            verdict=kind,
            why=why,
            name=target.canonical_name if target else "",
            authorship=target.authorship if target else "",
            rank=target.rank if target else rank,
            qualifier=self.parsed.qualifier,
            choices=choices,
            release=self.found.release,
            classification=target.classification if target else UNSTATED,
        )


def _asks(usage: Usage) -> str:
    """Why a name in the backbone is not taken by itself; blank when it is."""
    status = "".join(usage.status.casefold().split())
    if "misapplied" in status:
        return "the backbone holds the name for misapplied"
    if usage.accepted is None:
        return "the backbone does not accept it, and names no other" if status in _NOT_ACCEPTED else ""
    return "it is a synonym of that taxon in part only" if "proparte" in status else ""


def _unique(usages: Iterable[Usage]) -> list[Usage]:
    return list({usage.taxon_id: usage for usage in usages}.values())


def _full(usage: Usage) -> str:
    return f"{usage.canonical_name} {usage.authorship}".strip()


def _noted(choice: Choice, note: str) -> Choice:
    both = f"{note}, {choice.note}" if choice.note else note
    return Choice(choice.name, choice.authorship, choice.rank, choice.phylum, both)


def _with_why(verdict: Verdict, more: str) -> Verdict:
    return replace(verdict, why=f"{verdict.why}; {more}")
