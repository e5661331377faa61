"""A sender and a receiver of test frames, made of a plain raw socket each, inside the lab."""

import subprocess
import sys
from subprocess import Popen

from qualify.lab.lab import Lab

SENDER = """
import socket, sys, time
interface, frame, count, gap_s = sys.argv[1], bytes.fromhex(sys.argv[2]), *map(float, sys.argv[3:])
port = socket.socket(socket.AF_PACKET, socket.SOCK_RAW)
port.bind((interface, 0))
due = time.monotonic()
for _ in range(int(count)):
    due += gap_s
    time.sleep(max(0, due - time.monotonic()))
    port.send(frame)
print(int(count), flush=True)
"""

# Counts until its input ends and the port has been silent for a moment; names the frames by the
# UDP ports at offset 34 of an untagged IPv4 frame.
RECEIVER = """
import select, socket, sys
port = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0800))
port.setsockopt(socket.SOL_SOCKET, 33, 1 << 24)  # SO_RCVBUFFORCE
port.bind((sys.argv[1], 0x0800))
print("ready", flush=True)
count, ending = 0, False
while True:
    ready, _, _ = select.select([port] if ending else [port, sys.stdin], [], [], 0.3)
    if port in ready:
        count += port.recv(2048)[34:38] == bytes.fromhex("c0200007")
    elif sys.stdin in ready:
        ending = True
    elif ending:
        break
print(count, flush=True)
"""


def build_frame(source_mac: str, target_mac: str, *, source: str, target: str) -> bytes:
    """Build a frame of 60 octets from UDP port 49184 to 7; its IPv4 checksum is right."""
    addresses = bytes(map(int, f"{source}.{target}".split(".")))
    header = bytes.fromhex("4500002e000000004011") + b"\0\0" + addresses
    words = sum(int.from_bytes(header[n : n + 2], "big") for n in range(0, 20, 2))
    words = (words & 0xFFFF) + (words >> 16)
    checksum = (0xFFFF - (words & 0xFFFF) - (words >> 16)).to_bytes(2, "big")
    macs = bytes.fromhex((target_mac + source_mac).replace(":", ""))
    udp = bytes.fromhex("c0200007001a0000") + bytes(18)
    return macs + b"\x08\x00" + header[:10] + checksum + header[12:] + udp


class Receiver:
    """Counts test frames at a tester port until it is asked."""

    def __init__(self, lab: Lab, port: str) -> None:
        self._process = _inside(lab, port, RECEIVER, port)
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == b"ready\n"

    def count(self) -> int:
        """Stop and return how many came."""
        counted, _ = self._process.communicate(timeout=20)
        return int(counted)


def start_sender(lab: Lab, port: str, frame: bytes, *, count: int, gap_s: float) -> "Popen[bytes]":
    """Start to send that many frames; the process prints how many it sent when it is done."""
    return _inside(lab, port, SENDER, port, frame.hex(), str(count), str(gap_s))


def sent_by(sender: "Popen[bytes]") -> int:
    """Wait until a sender is done and return how many frames it sent."""
    sent, _ = sender.communicate(timeout=60)
    return int(sent)


def _inside(lab: Lab, port: str, script: str, *arguments: str) -> "subprocess.Popen[bytes]":
    ip = lab.programs.path("ip")
    return lab.spawn(ip, "netns", "exec", port, sys.executable, "-c", script, *arguments)
