"""How many rules are tried: few in the ordinary run, many where the environment has LIMITRULES_PROFILE=nightly.

The ordinary run tries the same rules each time. A nightly run tries others; LIMITRULES_SEED repeats one.
"""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from typing import Any

from hypothesis import HealthCheck, Phase, seed, settings

IS_NIGHTLY = os.environ.get("LIMITRULES_PROFILE") == "nightly"
SEED = int(os.environ.get("LIMITRULES_SEED") or (random.SystemRandom().randrange(10**9) if IS_NIGHTLY else 1))


def tried(ordinary: int, nightly: int) -> Callable[[Any], Any]:
    """So many examples, found anew from the seed."""
    chosen = settings(
        max_examples=nightly if IS_NIGHTLY else ordinary,
        deadline=None,
        database=None,
        phases=[Phase.explicit, Phase.generate, Phase.shrink],
        suppress_health_check=list(HealthCheck),
    )
    return lambda test: seed(SEED)(chosen(test))
