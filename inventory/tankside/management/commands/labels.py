"""``labels``: QR labels of places and lots, as PDF sheets or as SVG pictures."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import CommandError

from inventory.doors.clock import now
from inventory.doors.command import HouseCommand
from inventory.tankside.files.label_sheets import NotPrintable, pdf_of, svg_of, svgs_of
from inventory.tankside.queries.labels import NotThere, labels_of
from inventory.tankside.rules.label_formats import BY_CODE, FORMATS
from inventory.tankside.rules.labels import NoRoom
from inventory.tankside.rules.qr import TooSmall

CANNOT = (NotThere, NotPrintable, NoRoom, TooSmall)


class Command(HouseCommand):
    help = "Prints QR labels that open the tank side at a tank or a lot."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--places", nargs="+", metavar="CODE", help="of these places")
        parser.add_argument("--lots", nargs="+", default=[], metavar="ACCESSION", help="of these lots")
        parser.add_argument(
            "--format",
            choices=list(BY_CODE),
            default=FORMATS[0].code,
            help="; ".join(f"{form.code}: {form.words}" for form in FORMATS),
        )
        parser.add_argument(
            "--start", type=int, default=1, metavar="N", help="first free label of a part-used sheet (1)"
        )
        parser.add_argument(
            "--out",
            required=True,
            type=Path,
            metavar="FILE",
            help="FILE.pdf: sheets; FILE.svg: one label; a folder: a picture of each",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Without places and lots: of all open places."""
        out: Path = options["out"]
        form = BY_CODE[options["format"]]
        places, lots = options["places"], options["lots"]
        try:
            labels = labels_of(
                places=[] if places is None and lots else places, lots=lots, site=settings.ADDRESS
            )
            if out.suffix == ".pdf":
                written = {out: pdf_of(labels, form, start=options["start"], made_at=now())}
            elif out.suffix == ".svg":
                if len(labels) != 1:
                    raise CommandError(
                        f"{out} holds one label and {len(labels)} were asked for; give a folder or a .pdf",
                        returncode=2,
                    )
                written = {out: svg_of(labels[0], form).encode()}
            elif out.suffix:
                raise CommandError(f"{out} is neither .pdf nor .svg nor a folder", returncode=2)
            else:
                pictures = svgs_of(labels, form)
                written = {out / name: picture.encode() for name, picture in pictures.items()}
        except CANNOT as wrong:
            raise CommandError(str(wrong), returncode=1) from wrong
        for path, content in written.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        what = "1 label" if len(labels) == 1 else f"{len(labels)} labels"
        self.stderr.write(f"Wrote {what} to {out}; their codes open {settings.ADDRESS}/tank/")
