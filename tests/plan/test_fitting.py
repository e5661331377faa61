"""Frames must hold what a path puts into them; what a stream gets of case and path."""

from dataclasses import replace

import pytest

from qualify.frames import PLAIN, Layout
from qualify.plan.addressing import address_testbed
from qualify.plan.fitting import frames_too_small
from qualify.plan.limit import Limit
from qualify.plan.planner import PlanRefusedError, plan_run
from qualify.plan.streams import plan_streams
from qualify.testbed.case import StreamSpec
from qualify.testbed.testbed import Headers
from tests.sample import CASE, TESTBED, image

SWITCHED, *ROUTED = TESTBED.paths
NO_LIMIT = Limit(sent_pps=None, received_pps=None)
SMALL = replace(CASE, stream=StreamSpec(1_000, 64, mix=(64, 1518)))


@pytest.mark.parametrize(
    ("headers", "vlans", "objection"),
    [
        (
            Headers.IPV6,
            (200, 10),
            "frames of 64 octets are too small for path l2: IPv6 and UDP, two VLAN tags and the "
            "test payload do not fit in\n"
            "  fix: send no frames of less than 92 octets, or change the headers or vlans of path "
            "l2",
        ),
        (
            Headers.IPV4,
            (10,),
            "frames of 64 octets are too small for path l2: IPv4 and UDP, a VLAN tag and the "
            "test payload do not fit in\n"
            "  fix: send no frames of less than 68 octets, or change the headers or vlans of path "
            "l2",
        ),
    ],
)
def test_frames_that_are_too_small_are_refused_with_the_smallest_that_would_do(
    headers: Headers, vlans: tuple[int, ...], objection: str
) -> None:
    path = replace(SWITCHED, headers=headers, vlans=vlans)
    testbed = replace(TESTBED, paths=(path, *ROUTED))

    with pytest.raises(PlanRefusedError) as refused:
        plan_run(testbed, [SMALL], target=image("5.2.0"), source=image("5.1.0"), limit=NO_LIMIT)

    assert str(refused.value) == f"cases/mixed-one-tier.yaml stream.frame_octets: {objection}"


@pytest.mark.parametrize("vlans", [(), (10,), (200, 10)])
def test_without_ip_the_smallest_frame_holds_two_tags(vlans: tuple[int, ...]) -> None:
    path = replace(SWITCHED, headers=Headers.ETHERNET, vlans=vlans)

    assert frames_too_small(replace(TESTBED, paths=(path, *ROUTED)), SMALL) == []


def test_streams_carry_the_headers_and_tags_of_their_path_and_the_mix_of_the_case() -> None:
    path = replace(SWITCHED, headers=Headers.IPV6, vlans=(10,))
    testbed = replace(TESTBED, paths=(path, *ROUTED))
    case = replace(CASE, stream=StreamSpec(1_000, 128, mix=(128, 1518)))
    streams = plan_streams(testbed, case, address_testbed(testbed))

    assert streams[0].layout == Layout(Headers.IPV6, (10,))
    assert streams[2].layout == PLAIN
    assert {stream.sizes for stream in streams} == {(128, 1518)}
    assert str(streams[1].destinations[0].target) == "2001:2:0:1::b"


def test_a_stream_of_one_size_has_no_mix() -> None:
    stream = plan_streams(TESTBED, CASE, address_testbed(TESTBED))[0]

    assert (stream.mix, stream.sizes) == ((), (128,))
