"""The picture of a taxon or of a lot."""

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from .actions.pictures import LARGEST


class PictureForm(forms.Form):
    """A photograph, what it shows in words, and who took it."""

    file = forms.FileField(
        label="Photograph",
        help_text="JPEG, PNG or WebP, at most 20 MB. Where and when it was taken is not kept.",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )
    alt = forms.CharField(
        max_length=200,
        label="What it shows",
        help_text="In words, for who cannot see it, such as: from the side, dark spot before the tail",
    )
    credit = forms.CharField(max_length=120, label="Who took it", help_text="Who may be asked for its use")

    def clean_file(self) -> UploadedFile:
        """Refused before it is read, for a refused file is not worth its memory."""
        file: Any = self.cleaned_data["file"]
        if file.size > LARGEST:
            raise forms.ValidationError(f"It is larger than {LARGEST // 1_048_576} MB; make it smaller.")
        assert isinstance(file, UploadedFile)
        return file
