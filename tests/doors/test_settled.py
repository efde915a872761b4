"""A server that has settled in collects what its requests make, and walks over nothing else."""

import subprocess
import sys

from django.conf import settings

_SETTLED = """
import gc, sys, weakref
import django
django.setup()
assert "census.reports.views.layouts" not in sys.modules
from inventory.doors.settled import settle_in
settle_in()
assert "census.reports.views.layouts" in sys.modules, "the pages' code is there"
assert gc.isenabled()
assert gc.get_freeze_count() > 50_000, gc.get_freeze_count()
assert len(gc.get_objects()) < gc.get_freeze_count() // 50, len(gc.get_objects())
class Circle: pass
circle = Circle()
circle.own = circle
gone = weakref.ref(circle)
del circle
assert gone() is not None
gc.collect()
assert gone() is None, "what came later is collected"
"""


def test_what_is_there_when_a_server_settles_in_is_walked_over_no_more_and_the_rest_is() -> None:
    """In a process of its own: what is frozen stays so until the process ends."""
    run = subprocess.run(
        [sys.executable, "-c", _SETTLED],
        cwd=settings.PROJECT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert run.returncode == 0, run.stderr
