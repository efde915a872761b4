"""Which labels to print, on which sheet."""

from typing import Any

from django import forms

from .rules.label_formats import BY_CODE, FORMATS


class LabelsForm(forms.Form):
    """The sheet; places and lots are ticked in the lists beside it."""

    sheet = forms.ChoiceField(
        label="Labels", choices=[(form.code, form.words) for form in FORMATS], initial=FORMATS[0].code
    )
    start = forms.IntegerField(
        label="First free label", min_value=1, initial=1, help_text="1 for a whole sheet; counted row by row"
    )
    kind = forms.ChoiceField(
        label="As",
        choices=[("pdf", "PDF sheets to print"), ("svg", "SVG pictures, in a zip file")],
        initial="pdf",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        sheet, start = BY_CODE.get(cleaned.get("sheet", "")), cleaned.get("start")
        if sheet and start and start > sheet.on_a_sheet:
            self.add_error("start", f"A sheet of this format has {sheet.on_a_sheet} labels.")
        return cleaned
