"""What stands under a proposal that is accepted, or why it is refused."""

from typing import Any

from django import forms

from .deciding import DecisionForm, against_names


class ProposalForm(forms.Form):
    """Approvals where the rules ask for them, and a note; shared by all proposals of a line."""

    ask = DecisionForm.base_fields["ask"]
    approved_by = DecisionForm.base_fields["approved_by"]
    countersigned_by = DecisionForm.base_fields["countersigned_by"]
    note = forms.CharField(required=False, max_length=300, label="Note, or why it is refused")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for name, problem in against_names(cleaned):
            self.add_error(name, problem)
        return cleaned
