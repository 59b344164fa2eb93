"""What is wrong or doubtful in one scene, noted as it is found."""

from dataclasses import dataclass, field

from raysim.base.errors import Fault, Level, any_error
from raysim.base.fault_codes import Code


@dataclass
class Notes:
    """Faults of one scene file, in the order in which they were found."""

    file: str
    faults: list[Fault] = field(default_factory=list)

    def error(self, code: Code, key: str, what: str, mend: str) -> None:
        """Note what a run is refused for."""
        self.faults.append(Fault(code, self.file, key, what, mend))

    def warning(self, code: Code, key: str, what: str, mend: str) -> None:
        """Note a doubt, which the report repeats."""
        self.faults.append(Fault(code, self.file, key, what, mend, Level.WARNING))

    @property
    def refused(self) -> bool:
        """Whether an error is among them."""
        return any_error(self.faults)
