"""A real RTSP server (GStreamer's), run by Debian's own Python.

Arguments: PICTURE [HOW USER PASSWORD [PORT]], where HOW is basic or digest. Paths: /h264, /mjpeg,
/rare (hardly ever a key frame), /few (ends after ten pictures), /sound.
Prints the port that it got.
"""

import sys

import gi

gi.require_version("Gst", "1.0")
gi.require_version("GstRtsp", "1.0")
gi.require_version("GstRtspServer", "1.0")
from gi.repository import GLib, Gst, GstRtsp, GstRtspServer  # noqa: E402

RATE = "video/x-raw,framerate=20/1 ! videoconvert ! video/x-raw,format=I420"
X264 = "x264enc tune=zerolatency speed-preset=veryfast pass=quant quantizer=12"
PAYLOAD = "rtph264pay name=pay0 config-interval=1"
WAYS = {
    "/h264": f"{RATE} ! {X264} key-int-max=10 ! {PAYLOAD}",
    "/rare": f"{RATE} ! {X264} key-int-max=100000 ! {PAYLOAD}",
    "/mjpeg": f"{RATE} ! jpegenc quality=92 ! rtpjpegpay name=pay0",
}


def serve(picture, method="", user="", password="", port="0"):
    """Serve one picture as if a camera looked at it."""
    Gst.init(None)
    server = GstRtspServer.RTSPServer(service=port, address="127.0.0.1")
    shown = f"filesrc location={picture} ! pngdec ! imagefreeze is-live=true"
    launches = {path: f"{shown} ! {rest}" for path, rest in WAYS.items()}
    few = shown.replace("imagefreeze", "imagefreeze num-buffers=10")
    launches["/few"] = f"{few} ! {WAYS['/h264']}"
    launches["/sound"] = (
        "audiotestsrc is-live=true ! audioconvert ! mulawenc ! rtppcmupay name=pay0"
    )
    for path, launch in launches.items():
        factory = GstRtspServer.RTSPMediaFactory()
        factory.set_launch(f"( {launch} )")
        if method:
            allowed = "grower, media.factory.access=true, media.factory.construct=true"
            factory.add_role_from_structure(Gst.Structure.new_from_string(allowed))
        server.get_mount_points().add_factory(path, factory)
    if method:
        server.set_auth(locked(method, user, password))
    server.attach(None)
    print(server.get_bound_port(), flush=True)
    GLib.MainLoop().run()


def locked(method, user, password):
    """Who may look."""
    auth = GstRtspServer.RTSPAuth()
    auth.set_supported_methods(getattr(GstRtsp.RTSPAuthMethod, method.upper()))
    token = GstRtspServer.RTSPToken()
    token.set_string("media.factory.role", "grower")
    if method == "digest":
        auth.add_digest(user, password, token)
    else:
        auth.add_basic(GstRtspServer.RTSPAuth.make_basic(user, password), token)
    return auth


if __name__ == "__main__":
    serve(*sys.argv[1:])
