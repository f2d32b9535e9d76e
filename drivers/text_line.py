"""The text-line driver: instruments that send lines of text, over any port or URL that pyserial knows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from drivers.base import Clock, PortLost, Sample
from drivers.line_poll import Asker, read_polling
from drivers.line_reader import LineReader, read_line_format
from drivers.options import Options
from drivers.ports import FoundPort, list_ports, port_key
from drivers.serial_port import SerialPort, read_line_settings

__all__ = ["TextLineDriver"]

_REST_OF_LINE_S = 0.01
_MOST_BYTES = 65_536
_FLOOD_BYTES = 2_048
"""More than this at once (or four of the longest lines) is a flood, or what a full buffer kept while nobody could
read. Only its newest part is read, for all of it would bear one time anyway."""

_FLOOD_REST_S = 0.05
_CROWD = 256
"""Samples of one moment past which only each channel's newest are kept."""


class TextLineDriver:
    r"""Reads lines such as ``T1=301.2 T2=299.0 P=32.1`` or ``301.2,299.0,32.1``.

    Options: `port` (``COM3``, ``/dev/ttyUSB0``, ``socket://host:port``, ``rfc2217://host:port``, or a table with
    `vid`, `pid`, `serial_number`, `location` of the adapter), `baud` (9600), `bytesize` (8), `parity` (``none``),
    `stopbits` (1); then one of

    * `labels` = ``{T1 = "inner_mat[degF]", P = "bag[psi]"}``: labelled values, ``=`` or ``:`` between;
    * `fields` = ``["inner_mat[degF]", "", "bag[psi]"]`` with `delimiter` (``,``; a space: any white space): values
      in a fixed order, an empty text for a field nobody wants;
    * `json` = ``{"zones.0.temp" = "inner_mat[degF]"}``: an object a line, values by their path;
    * `pattern`, a regular expression for a whole line, its named groups being the keys of `labels`;

    and `open_marks` (``["OPEN", "----", ""]``: cells that say an open sensor), `ignore` (``#``: lines beginning so
    are skipped), `decimal` (``.`` or ``,``), `encoding` (``ascii``), `newline` (``\n``), `max_line` (256 bytes).

    Where lines are checked: `checksum` (``xor``, ``sum-8``, ``sum-16``, ``crc-16/ccitt``, ``crc-16/xmodem``,
    ``crc-16/modbus``), in hexadecimal behind `checksum_after` (``*``), over what stands between that and
    `checksum_from` (the line's beginning; ``$``), `checksum_order` (``high-first``, ``low-first``).

    An instrument that speaks only when asked: `ask` = ``"READ?\r\n"``, `every` (1 s), `answer_within` (1 s),
    `answer_lines` (1). One that is asked for each value: `polls`, a list of tables with `ask` and a form of its own.

    Units may be raw ones (mV, mA, ohm, counts): the channel's `input` in the shop file says what they mean.

    Raises `DriverError` naming the option. A port that is not there is a `PortLost` from `open`.
    """

    def __init__(
        self,
        settings: Mapping[str, object],
        clock: Clock,
        *,
        ports: Callable[[], Sequence[FoundPort]] = list_ports,
    ) -> None:
        options = Options(settings)
        line = read_line_settings(options)
        polling = read_polling(options)
        # Read even beside polls, so that a form's keys are known there.
        form = read_line_format(options) if polling is None else None
        options.finish()
        self._clock = clock
        self._port = SerialPort(line, ports)
        self._asker = None if polling is None else Asker(polling, self._port, clock)
        self._reader = None if form is None else LineReader(form)
        forms = [form] if form is not None else [poll.form for poll in polling.polls] if polling is not None else []
        self.channels = {target.channel: target.unit for each in forms for target in each.targets.values()}
        """Every channel with its raw unit."""
        self.claims = ((port_key(line.wanted), None),)
        """What no second press may take: the whole port."""

    @property
    def port_name(self) -> str:
        """The port's name, the device's once it was found."""
        return self._port.name

    def open(self) -> None:
        """Take the port. Raises `PortLost` where it cannot be had now."""
        self._port.open()
        if self._reader is not None:
            self._reader.reset()
        if self._asker is not None:
            self._asker.start()

    def read(self, wait: float) -> Sequence[Sample]:
        """The samples of the lines that ended, blocking `wait` seconds at most. Raises `PortLost`."""
        if self._reader is None:
            if self._asker is None:
                raise PortLost("nothing to read")
            return self._asker.read(wait)
        data, at = self._bytes(wait)
        most = max(_FLOOD_BYTES, 4 * self._reader.form.longest)
        if len(data) <= most:
            return _newest(self._reader.feed(data, at)) if data else ()
        self._reader.reset()
        samples = _newest(self._reader.feed(data[-most:], at))
        # The buffer behind may have overflowed, and halves of two lines can read like a whole one: begin afresh.
        self._port.pause(_FLOOD_REST_S)
        self._port.more(_MOST_BYTES)
        self._reader.reset()
        return samples

    def _bytes(self, wait: float) -> tuple[bytes, float]:
        data = self._port.read(wait)
        at = self._clock()
        if data and not data.endswith((b"\n", b"\r")):
            # Let the rest of the line arrive, so that a slow line does not cost a wake-up a byte.
            self._port.pause(_REST_OF_LINE_S)
            data += self._port.more(_MOST_BYTES)
        return data, at

    def close(self) -> None:
        """Let the port go. Never raises."""
        self._port.close()


def _newest(samples: list[Sample]) -> Sequence[Sample]:
    return samples if len(samples) <= _CROWD else tuple({sample.channel: sample for sample in samples}.values())
