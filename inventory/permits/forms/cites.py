"""How animals of one kind crossed a border."""

from typing import Any

from django import forms

from ..actions.cites import TradeStated
from ..readers.cites_codes import PURPOSE, SOURCE, TERMS, UNITS, code_list
from ..rules.cites import Trade

_BLANK = ("", "choose")


class TradeForm(forms.Form):
    """One statement; where no border was crossed the rest stays blank."""

    trade = forms.ChoiceField(label="What it was", choices=[_BLANK, *((t.value, t.words) for t in Trade)])
    country = forms.CharField(
        required=False, max_length=2, label="The other country", help_text="Two letters: NO"
    )
    origin = forms.CharField(
        required=False, max_length=2, label="Country of origin", help_text="Of a re-export"
    )
    quantity = forms.DecimalField(required=False, max_digits=12, decimal_places=3, label="Quantity")
    unit = forms.ChoiceField(required=False, label="Unit")
    term = forms.ChoiceField(required=False, label="Term")
    source = forms.ChoiceField(required=False, label="Source of the animals")
    purpose = forms.ChoiceField(required=False, label="Purpose")
    papers = forms.CharField(required=False, max_length=200, label="Numbers of the trade permits")
    why = forms.CharField(required=False, max_length=300, label="Remark, or why it is corrected")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field, name in (("unit", UNITS), ("term", TERMS), ("source", SOURCE), ("purpose", PURPOSE)):
            choice = self.fields[field]
            assert isinstance(choice, forms.ChoiceField)
            choice.choices = [_BLANK, *code_list(name).choices]

    def stated(self) -> TradeStated:
        """As it was written."""
        said = self.cleaned_data
        return TradeStated(**said | {"trade": Trade(said["trade"])})
