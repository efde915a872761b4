from .codes import CodeTries, PersonCode
from .devices import Device, DeviceNote, DeviceScope, EnrolmentCode
from .erasures import Erasure
from .people import House, Person

__all__ = [
    "CodeTries",
    "Device",
    "DeviceNote",
    "DeviceScope",
    "EnrolmentCode",
    "Erasure",
    "House",
    "Person",
    "PersonCode",
]
