"""What ``NUMBA_CACHE_LOCATOR_CLASSES`` of the image names: machine code read and never written.

Numba keeps machine code only where it can write, also where all of it is there already: under a
read-only root file system each start would compile every formula again. This locator takes the
folder beside the byte code as it is. What a request asks for beyond that is compiled in memory.
"""

from typing import Any

from numba.core.caching import Cache, InTreeCacheLocator


class KeptMachineCode(InTreeCacheLocator):
    """Find the machine code that was made with the image."""

    def ensure_cache_path(self) -> None:
        """Ask for nothing: the folder need not be writable."""


def _keep_in_memory(_cache: Cache, _signature: Any, _result: Any) -> None:
    """Take the place of writing to a file, for which a locator has no say."""


Cache.save_overload = _keep_in_memory
