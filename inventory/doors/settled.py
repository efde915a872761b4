"""What a server does once, when all of its code is there and nothing was asked yet."""

import gc

from django.urls import get_resolver


def settle_in() -> None:
    """Reads the code of every page, and takes all that is there by then out of the cycle collector's walk.

    Some quarter of a million things stand in a process before the first request: classes, functions, forms.
    They stay until its end, and yet each full collection walks over all of them, a seventh of a second in
    which one page waits. What comes later is collected as ever. Processes that are forked afterwards share
    this memory, for the collector writes into what it walks over.
    """
    _ = get_resolver().url_patterns  # names every view, and so imports it
    gc.collect()
    gc.freeze()
