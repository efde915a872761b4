"""What comes with a sheet of paper."""

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile


class _Files(forms.ClearableFileInput):
    allow_multiple_selected = True


class FilesField(forms.FileField):
    """One file or several; the value is a list."""

    widget = _Files

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        given = data if isinstance(data, list | tuple) else [data]
        return [super(FilesField, self).clean(one, initial) for one in given or [None]]


class ScanForm(forms.Form):
    """Pictures of the paper, page by page in their order, or one PDF."""

    papers = FilesField(
        label="Scans or photographs of the paper",
        help_text="PDF, PNG, JPEG, HEIC or WebP; several at once are kept in the order chosen.",
        widget=_Files(attrs={"accept": "application/pdf,image/png,image/jpeg,image/heic,image/webp"}),
    )
