"""What came behind a marker of ours is no older than the marker; everything else may be."""

from curewatch.configuration import MqttSource
from curewatch.daemon.edges.fence import AGAIN, EVERY, PATIENCE, SENT, WITHIN, Fence, topic_of


def _connected(at: float = 0.0) -> tuple[Fence, bytes]:
    made = Fence("curewatch/v1/fence/ours")
    made.connected(at)
    marker = made.due(at)
    assert marker is not None
    return made, marker


def test_nothing_is_live_before_the_marker_is_back() -> None:
    """Neither right after connecting nor later; behind it everything is, for a while."""
    fence, marker = _connected()
    assert not fence.is_live(0.1)
    assert not fence.is_live(100.0)
    fence.came(marker)
    assert fence.is_live(0.2)
    assert fence.is_live(WITHIN)
    assert not fence.is_live(WITHIN + 0.1)


def test_a_marker_counts_from_its_sending() -> None:
    """Back after minutes, it proves that what comes behind it may have waited minutes, too."""
    fence, marker = _connected()
    fence.came(marker)
    slow = fence.due(EVERY)
    assert slow is not None
    fence.came(slow)
    assert not fence.is_live(EVERY + WITHIN + 1.0)


def test_a_marker_of_another_connection_proves_nothing() -> None:
    """A kept session hands over old markers as well; and anybody may publish there."""
    fence, before = _connected()
    fence.connected(60.0)
    fence.due(60.0)
    for forged in (before, b"", b"0123456789abcdef"):
        fence.came(forged)
        assert not fence.is_live(60.1)


def test_markers_go_out_steadily_and_are_bounded() -> None:
    """One on its way at a time; a lost one is replaced; a broker that answers nothing fills no memory."""
    fence, _ = _connected()
    sent = [at for at in range(1, 7200) if fence.due(float(at)) is not None]
    assert sent[0] == AGAIN
    assert len(sent) == 7199 // AGAIN
    assert len(fence._sent) == SENT
    fence, marker = _connected()
    fence.came(marker)
    assert fence.due(EVERY - 0.1) is None
    assert fence.due(EVERY) is not None


def test_a_missing_marker_is_said_once_and_its_return_too() -> None:
    """Not while it may still come, and not again at each connection."""
    fence, _ = _connected()
    assert not fence.is_missing(PATIENCE - 0.1)
    assert fence.is_missing(PATIENCE)
    assert not fence.is_missing(PATIENCE + 1.0)
    fence.connected(100.0)
    marker = fence.due(100.0)
    assert not fence.is_missing(100.0 + PATIENCE)
    assert marker is not None
    assert fence.came(marker)
    assert not fence.came(marker)


def test_each_client_id_has_its_own_topic() -> None:
    """Two daemons on one broker do not take each other's markers for theirs."""
    assert topic_of(MqttSource(client_id="a")) != topic_of(MqttSource(client_id="b"))
    assert topic_of(MqttSource(publish=None)) == "curewatch/v1/fence/curewatch"
