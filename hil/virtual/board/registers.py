"""The few registers of the virtual chip that a flashing tool reads and writes through its serial loader.

What they stand for is an ESP32-class chip: the ROM word that tells chips apart, the eFuse words with the address
and the revision, and the SPI controller behind which the flash sits. Layout from the vendor's technical reference
manual (register summaries of eFuse and SPI); only what a host asks for is here, everything else reads as zero or
as it was last written.
"""

CHIP_WORD = 0x4000_1000
CHIP_WORD_VALUE = 0x00F0_1D83
UART_DIVIDER = 0x3FF4_0014
EFUSE = 0x3FF5_A000
SYSTEM_DATE = 0x3FF6_607C

SPI = 0x3FF4_2000
SPI_COMMAND = SPI + 0x00
SPI_ADDRESS = SPI + 0x04
SPI_USER_2 = SPI + 0x24
SPI_DATA = SPI + 0x80
SPI_START_USER = 1 << 18

READ_IDENTITY = 0x9F
READ_DISCOVERY = 0x5A
#: Maker and type bytes of a common serial NOR flash; the third byte, made below, says log2 of the size (JEDEC).
FLASH_MAKER, FLASH_TYPE = 0xEF, 0x40
#: First word of the JEDEC JESD216 discovery table.
DISCOVERY_SIGNATURE = int.from_bytes(b"SFDP", "little")

XTAL_HZ, BAUD = 40_000_000, 115_200


class Registers:
    """The chip's memory-mapped words: some with a meaning, the others plain storage."""

    def __init__(self, address: bytes, flash_size: int) -> None:
        """Make the words of a chip with this address (6 bytes) and a flash of `flash_size` bytes."""
        self._flash_size = flash_size
        self._words: dict[int, int] = {
            CHIP_WORD: CHIP_WORD_VALUE,
            UART_DIVIDER: XTAL_HZ // BAUD,
            EFUSE + 4: int.from_bytes(address[2:], "big"),
            EFUSE + 8: int.from_bytes(address[:2], "big"),
            # Package 1 and the three revision bits all set: a dual-core chip of revision 3.
            EFUSE + 12: 1 << 9 | 1 << 15,
            EFUSE + 20: 1 << 20,
            SYSTEM_DATE: 1 << 31,
        }

    def read(self, at: int) -> int:
        """Return the word at `at`."""
        return self._words.get(at, 0)

    def write(self, at: int, value: int, mask: int = 0xFFFF_FFFF) -> None:
        """Write the bits of `mask`; the start bit of the SPI controller runs its command at once."""
        word = self.read(at) & ~mask & 0xFFFF_FFFF | value & mask
        self._words[at] = word
        if at == SPI_COMMAND and word & SPI_START_USER:
            self._words[at] = 0
            self._words[SPI_DATA] = self._spi_answer(self.read(SPI_USER_2) & 0xFF)

    def _spi_answer(self, command: int) -> int:
        """What the flash shifts out; commands that answer nothing (reset, status) leave zero."""
        if command == READ_IDENTITY:
            return FLASH_MAKER | FLASH_TYPE << 8 | (self._flash_size.bit_length() - 1) << 16
        if command == READ_DISCOVERY:
            return DISCOVERY_SIGNATURE if self.read(SPI_ADDRESS) == 0 else 0xFFFF_FFFF
        return 0
