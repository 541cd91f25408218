"""Names of before the second house."""

from speedcal.logs.readings import Clock as Clock
from speedcal.logs.readings import Readings as Readings
from speedcal.logs.track import Track as Track
