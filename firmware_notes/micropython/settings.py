"""What you change. Keep your own copy on the board; never put a password into a shared folder."""

AIR = "bench"  # the name of the humidity chip's place; None: there is no such chip
SURFACE = None  # "hull" when a one-wire probe is taped to the surface
EVERY_S = 60  # between two rounds [s]

SDA, SCL = 21, 22  # pins of the humidity chip
PROBE = 4  # pin of the one-wire probe, with 4.7 kOhm to 3.3 V
BATTERY = None  # ADC pin of a divider by two from one lithium cell, if there is one

WIFI = None  # ("network", "password"), or None: the cable alone
BROKER = ("192.168.4.10", 1883)  # a numeric address: a name server that is away would hold the board up
BROKER_USER = None
BROKER_PASSWORD = None
NODE = "curewatch-node-1"  # a name of its own for every board: two with one name throw each other out
TOPIC = "curewatch/%s/reading"

BACKLOG = 720  # reports kept while the broker is away; 14 bytes each
AT_ONCE = 60  # reports published in one round, so that a long backlog never starves the watchdog
WATCHDOG_MS = 8000  # the longest that all common boards allow
