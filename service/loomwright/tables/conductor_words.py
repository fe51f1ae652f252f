"""Materials, insulations and series of conductors in English words, by their keys."""

from collections.abc import Mapping
from types import MappingProxyType

from loomwright.marked import marked

MATERIALS: Mapping[str, str] = MappingProxyType(
    {
        "aluminium": marked("aluminium"),
        "cca_10": marked("copper-clad aluminium, 10 %"),
        "cca_15": marked("copper-clad aluminium, 15 %"),
        "copper": marked("copper"),
        "tinned_copper": marked("tinned copper"),
    }
)
# Names of the table of insulations.
INSULATIONS: Mapping[str, str] = MappingProxyType(
    {
        "pvc_70": "PVC rated 70 C",
        "pvc_80": "PVC rated 80 C",
        "pvc_90": "PVC rated 90 C",
        "pvc_105": "PVC rated 105 C",
        "silicone_200": "silicone rubber rated 200 C",
        "xlpe_90": "cross-linked polyethylene rated 90 C",
        "xlpe_125": "cross-linked polyethylene rated 125 C",
    }
)
SERIES: Mapping[str, str] = MappingProxyType(
    {"awg": "AWG", "iso_6722": "ISO 6722", "metric": "metric", "sae": "SAE"}
)
