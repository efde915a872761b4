"""The site in a process of its own, on the tests' database, so that a test may kill it.

``python -m tests.browser.serve PORT DATABASE [--die-after N] [--version WORDS] [--now MOMENT]``: with
``--die-after`` the process kills itself while it keeps the Nth entry, before the database has it for good;
with ``--version`` the tank side's pages are others than the files say; with ``--now`` the house lives at
that moment, as a demonstration does.
"""

import dataclasses
import os
import signal
from argparse import ArgumentParser
from typing import Any

os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"


def main() -> None:
    parser = ArgumentParser()
    parser.add_argument("port", type=int)
    parser.add_argument("database")
    parser.add_argument("--die-after", type=int, default=0)
    parser.add_argument("--version", default="")
    parser.add_argument("--now", default="")
    asked = parser.parse_args()

    from django.conf import settings

    settings.DATABASES["default"]["NAME"] = asked.database
    # A name other than localhost is plain http to a browser; see test_tankside_plain_http.py.
    settings.ALLOWED_HOSTS = ["*"]
    os.environ["TIDETALLY_NOW"] = asked.now
    if asked.version:
        from inventory.tankside.rules import pages

        others = [dataclasses.replace(page, title=asked.version) for page in pages.PAGES]
        vars(pages)["PAGES"] = tuple(others)

    from django.core.wsgi import get_wsgi_application
    from waitress import serve  # type: ignore[import-untyped]

    application = get_wsgi_application()
    if asked.die_after:
        _die_after(asked.die_after)
    serve(application, host="127.0.0.1", port=asked.port, threads=4, _quiet=True)


def _die_after(number: int) -> None:
    """No time to tidy up: as when the power fails."""
    from inventory.tankside.actions import take

    kept = []
    keep = take._keep

    def counted(*args: Any, **named: Any) -> dict[str, Any]:
        answer = keep(*args, **named)
        kept.append(answer)
        if len(kept) == number:
            os.kill(os.getpid(), signal.SIGKILL)
        return answer

    vars(take)["_keep"] = counted


if __name__ == "__main__":
    main()
