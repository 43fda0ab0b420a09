"""Photos made byte by byte, and read by nothing of ours."""
import struct
import zlib

GPS = b"GPS 40.7128 N 74.0060 W, owner Ann Beeker"
# one gray block of 8 by 8: its coefficients are all 0
PICTURE = (b"\xff\xdb\x00\x43\x00" + bytes([1] * 64)
           + b"\xff\xc0\x00\x0b\x08\x00\x08\x00\x08\x01\x01\x11\x00"
           + b"\xff\xc4\x00\x14\x00\x01" + bytes(15) + b"\x00" + b"\xff\xc4\x00\x14\x10\x01" + bytes(15) + b"\x00"
           + b"\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00\x3f")
JFIF = b"\xff\xe0\x00\x10JFIF\x00\x01\x02\x00\x00\x48\x00\x48\x00\x00"


def segment(marker, body):
    return b"\xff" + bytes([marker]) + struct.pack(">H", len(body) + 2) + body


def exif(orientation=6):
    """Little-endian, of two entries: whose it is, and which way is up."""
    tiff = b"II\x2a\x00\x08\x00\x00\x00" + struct.pack("<H", 2)
    tiff += struct.pack("<HHII", 0x8298, 2, len(GPS), 38)
    tiff += struct.pack("<HHIHH", 0x0112, 3, 1, orientation, 0) + b"\x00" * 4
    return segment(0xE1, b"Exif\x00\x00" + tiff + GPS)


def jpeg(*between, tail=b""):
    return b"\xff\xd8" + JFIF + b"".join(between) + PICTURE + b"\xff\xd9" + tail


def phone_photo():
    return jpeg(exif(), segment(0xE1, b"http://ns.adobe.com/xap/1.0/\x00" + GPS), segment(0xED, GPS),
                segment(0xE2, b"MPF\x00" + GPS), segment(0xFE, GPS), tail=GPS)


def segments(bytes_):
    """(marker, body) of all before the picture's data, and what follows."""
    at, found = 2, []
    while bytes_[at + 1] != 0xDA:
        size = struct.unpack(">H", bytes_[at + 2:at + 4])[0]
        found.append((bytes_[at + 1], bytes_[at + 4:at + 2 + size]))
        at += 2 + size
    return found, bytes_[at:]


def chunk(type_, body=b""):
    return struct.pack(">I", len(body)) + type_ + body + struct.pack(">I", zlib.crc32(type_ + body))


def png(*between, tail=b""):
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", 2, 2, 8, 0, 0, 0, 0)) + b"".join(between)
            + chunk(b"IDAT", zlib.compress(b"\x00\x10\x20\x00\x30\x40")) + chunk(b"IEND") + tail)


def screenshot():
    return png(chunk(b"tEXt", b"Author\x00" + GPS), chunk(b"zTXt", b"c\x00\x00" + zlib.compress(GPS)),
               chunk(b"iTXt", b"c\x00\x00\x00\x00\x00" + GPS), chunk(b"eXIf", exif()[10:]),
               chunk(b"tIME", b"\x07\xe6\x01\x01\x00\x00\x00"), chunk(b"prVt", GPS), tail=GPS)


PDF = b"%PDF-1.4\n1 0 obj<</Type/Catalog>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"
