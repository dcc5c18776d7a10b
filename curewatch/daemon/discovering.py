"""Whether an open home automation is told of our values: one retained document, taken away when it is off.

Law: a topic is noted in the logbook before the document is left there, and every noted topic is emptied at
each start and reload that does not want it, so a broker that was away then is emptied later.
"""

import json

from curewatch.answers.discovery import discovery_document, discovery_topic
from curewatch.configuration import Configuration
from curewatch.daemon.core import Core


def discover(core: Core, configuration: Configuration) -> None:
    """Leave the document where it is wanted, and nothing where it was and is wanted no more."""
    for name, source in configuration.mqtt.items():
        key = f"discovery {name}"
        before = [str(topic) for topic in json.loads(core.remembered(key) or b"[]")]
        client, label = source.client_id, configuration.label
        wanted = discovery_topic(source.discovery, client, label) if source.discovery else None
        for topic in before:
            if topic != wanted:
                core.leave(name, topic, "")
        if wanted and source.publish:
            if wanted not in before:
                core.remember(key, json.dumps([*before, wanted]).encode())
            document = discovery_document(source.publish, client, configuration.shed.name, label)
            core.leave(name, wanted, document)
