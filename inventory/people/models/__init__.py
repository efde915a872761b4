from .codes import CodeTries, PersonCode
from .devices import Device, DeviceNote, DeviceScope, EnrolmentCode
from .people import House, Person

__all__ = [
    "CodeTries",
    "Device",
    "DeviceNote",
    "DeviceScope",
    "EnrolmentCode",
    "House",
    "Person",
    "PersonCode",
]
