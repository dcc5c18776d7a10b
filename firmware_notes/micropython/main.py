"""Copy all files of this folder to the board; it starts with this one."""

import settings
from board import Board
from mqtt_publisher import Publisher
from node import Node

publisher = None
if settings.WIFI:
    publisher = Publisher(
        settings.BROKER[0],
        settings.BROKER[1],
        settings.NODE,
        settings.BROKER_USER,
        settings.BROKER_PASSWORD,
    )
Node(Board(settings), settings, publisher).run()
