from .codes import CodeTries, PersonCode
from .devices import Device, DeviceNote, DeviceScope, EnrolmentCode
from .erasures import Erasure
from .limits import Asked
from .people import House, Person
from .terms import RoleTerm

__all__ = [
    "Asked",
    "CodeTries",
    "Device",
    "DeviceNote",
    "DeviceScope",
    "EnrolmentCode",
    "Erasure",
    "House",
    "Person",
    "PersonCode",
    "RoleTerm",
]
