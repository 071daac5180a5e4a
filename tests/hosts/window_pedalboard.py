"""The plugin's window in a host that was not written here: `pedalboard` opens the bundled .vst3 under an X11 display.

Run by `cargo xtask test` with a display; the environment names the bundle (SUMPROOF_VST3) and where the picture goes
(SUMPROOF_PICTURES). Ends with 'ok' and 0, or says what is wrong and ends with 1.
"""

import collections
import ctypes
import os
import struct
import sys
import threading
import time
import zlib

import numpy as np
import pedalboard

VST3 = os.environ["SUMPROOF_VST3"]
PICTURE = os.path.join(os.environ["SUMPROOF_PICTURES"], "window-pedalboard.png")
# Antialiased letters have dozens of shades; boxes in their place, or an empty window, a handful.
SHADES = 48
# Least and largest share of the picture that letters and bars cover, i.e. neither background nor hairlines.
LEAST_INK, MOST_INK = 0.01, 0.6

XLIB = ctypes.CDLL("libX11.so.6")
ERROR_HANDLER = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_void_p)


class XImage(ctypes.Structure):
    """The head of Xlib's XImage (Xlib.h)."""

    _fields_ = [
        ("width", ctypes.c_int),
        ("height", ctypes.c_int),
        ("xoffset", ctypes.c_int),
        ("format", ctypes.c_int),
        ("data", ctypes.c_void_p),
        ("byte_order", ctypes.c_int),
        ("bitmap_unit", ctypes.c_int),
        ("bitmap_bit_order", ctypes.c_int),
        ("bitmap_pad", ctypes.c_int),
        ("depth", ctypes.c_int),
        ("bytes_per_line", ctypes.c_int),
        ("bits_per_pixel", ctypes.c_int),
    ]


# An X error in the host's own code would end the process (it grabs keys of windows that no longer exist).
@ERROR_HANDLER
def ignore(_display, _event):
    return 0


def prepare():
    XLIB.XInitThreads()
    XLIB.XSetErrorHandler.argtypes = [ERROR_HANDLER]
    XLIB.XSetErrorHandler(ignore)
    XLIB.XOpenDisplay.restype = ctypes.c_void_p
    XLIB.XDefaultRootWindow.argtypes = [ctypes.c_void_p]
    XLIB.XDefaultRootWindow.restype = ctypes.c_ulong
    for name in ("XDisplayWidth", "XDisplayHeight"):
        getattr(XLIB, name).argtypes = [ctypes.c_void_p, ctypes.c_int]
    XLIB.XGetImage.restype = ctypes.POINTER(XImage)
    XLIB.XGetImage.argtypes = [
        ctypes.c_void_p,
        ctypes.c_ulong,
        ctypes.c_int,
        ctypes.c_int,
        ctypes.c_uint,
        ctypes.c_uint,
        ctypes.c_ulong,
        ctypes.c_int,
    ]
    XLIB.XCloseDisplay.argtypes = [ctypes.c_void_p]


def screen():
    """What the screen shows: rows of red, green and blue."""
    display = XLIB.XOpenDisplay(None)
    assert display, "there is no display"
    width, height = XLIB.XDisplayWidth(display, 0), XLIB.XDisplayHeight(display, 0)
    z_pixmap, all_planes = 2, 0xFFFFFFFF
    image = XLIB.XGetImage(display, XLIB.XDefaultRootWindow(display), 0, 0, width, height, all_planes, z_pixmap).contents
    assert image.bits_per_pixel == 32, f"{image.bits_per_pixel} bits a pixel"
    raw = ctypes.string_at(image.data, image.bytes_per_line * image.height)
    pixels = np.frombuffer(raw, np.uint8).reshape(image.height, image.bytes_per_line // 4, 4)[:, :width, 2::-1].copy()
    XLIB.XCloseDisplay(display)
    return pixels


def write_png(pixels, path):
    """A PNG by hand (W3C PNG, second edition), so that nothing else is needed."""
    height, width, _ = pixels.shape

    def chunk(kind, data):
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    rows = b"".join(b"\0" + row.tobytes() for row in pixels)
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    part = path + ".part"
    with open(part, "wb") as file:
        file.write(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b""))
    os.replace(part, path)


def judged(pixels):
    """Shades in the picture, and the share that is not its commonest colour."""
    packed = pixels.astype(np.uint32)
    packed = (packed[:, :, 0] << 16 | packed[:, :, 1] << 8 | packed[:, :, 2]).ravel()
    counts = collections.Counter(packed.tolist())
    return len(counts), 1 - counts.most_common(1)[0][1] / packed.size


def wait_until_empty():
    """The window before goes on a thread of its own."""
    for _ in range(300):
        if not screen().any():
            return
        time.sleep(0.1)
    raise AssertionError("something is on the screen already")


def watch(close, found):
    """Waits for letters, takes a picture, and closes the window."""
    pixels = None
    try:
        for _ in range(300):
            time.sleep(0.1)
            if judged(screen())[0] < SHADES:
                continue
            # A drawing over several frames is complete a moment later, and a closing window is closed.
            time.sleep(0.5)
            pixels = screen()
            if judged(pixels)[0] >= SHADES:
                break
        if pixels is not None:
            write_png(pixels, PICTURE)
            found.append(pixels)
    finally:
        close.set()


def main():
    prepare()
    plugin = pedalboard.load_plugin(VST3, plugin_name="Sumproof")
    generator = np.random.default_rng(1)
    sound = generator.uniform(-0.5, 0.5, (2, 96000)).astype(np.float32)
    plugin.process(sound, 48000)
    for _ in range(2):
        wait_until_empty()
        close, found = threading.Event(), []
        watcher = threading.Thread(target=watch, args=(close, found))
        watcher.start()
        plugin.show_editor(close)
        watcher.join()
        assert found, "no picture was taken"
        # The window's own part of the screen, without the black around it.
        rows, columns = np.nonzero(found[0].sum(axis=2))
        assert rows.size, "the screen is black"
        window = found[0][rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
        shades, ink = judged(window)
        print(f"{window.shape[1]}x{window.shape[0]}, {shades} shades, {100 * ink:.1f} % ink")
        assert window.shape[1] >= 640 and window.shape[0] >= 420, "smaller than the smallest window"
        assert shades >= SHADES, "no letters are drawn"
        assert LEAST_INK < ink < MOST_INK, "the window is not what it should look like"
    # It keeps processing with the window closed.
    assert np.array_equal(plugin.process(sound, 48000), sound)
    print("ok")


try:
    main()
except AssertionError as wrong:
    print(f"window in pedalboard: {wrong}")
    sys.exit(1)
