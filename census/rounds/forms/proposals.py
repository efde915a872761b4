"""What stands under a proposal that is accepted, or why it is refused."""

from django import forms

from .deciding import DecisionForm


class ProposalForm(forms.Form):
    """Approvals where the rules ask for them, and a note; shared by all proposals of a line."""

    approved_by = DecisionForm.base_fields["approved_by"]
    countersigned_by = DecisionForm.base_fields["countersigned_by"]
    note = forms.CharField(required=False, max_length=300, label="Note, or why it is refused")
