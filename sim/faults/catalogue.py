"""All faults by name."""

from typing import Final

from sim.faults.burette_faults import BURETTE_FAULTS
from sim.faults.electrode_faults import ELECTRODE_FAULTS
from sim.faults.fault import Fault
from sim.faults.vessel_faults import VESSEL_FAULTS

CATALOGUE: Final[dict[str, Fault]] = {
    fault.name: fault for fault in (*BURETTE_FAULTS, *VESSEL_FAULTS, *ELECTRODE_FAULTS)
}
