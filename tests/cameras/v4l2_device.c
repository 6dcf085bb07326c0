/* A video device for kernels that have none: laid under a program by LD_PRELOAD, it answers the
 * calls of Video4Linux for /dev/video42 as a plain USB camera would, and leaves all others alone.
 *
 * It knows 640 x 480 and 1280 x 720 in YUYV. The picture is grey; its luma is 16 + a tenth of the
 * exposure in units of 100 us, and 16 while it warms up (DEVICE_WARM_UP pictures). Exposure and
 * white balance are only taken once they are no longer automatic. DEVICE_HANGS makes the read of
 * the third picture wait for ever, DEVICE_GONE_AFTER ends it after so many, DEVICE_PLAIN has no
 * controls. Its controls are kept in the file DEVICE_STATE, as a real device keeps them. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/videodev2.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#define BUFFERS 4
#define MOST (1280 * 720 * 2)

struct control { unsigned id; int value, low, high; };
static struct control controls[] = {
    {V4L2_CID_EXPOSURE_AUTO, 3, 1, 3},
    {V4L2_CID_EXPOSURE_ABSOLUTE, 156, 3, 2047},
    {V4L2_CID_AUTO_WHITE_BALANCE, 1, 0, 1},
    {V4L2_CID_WHITE_BALANCE_TEMPERATURE, 4600, 2800, 6500},
};
static int device = -1, width = 640, height = 480, given, queue[64], first, last;
static unsigned char *memory;

static int number(const char *name) { return getenv(name) ? atoi(getenv(name)) : 0; }

static struct control *of(unsigned id) {
    for (unsigned k = 0; k < 4 && !getenv("DEVICE_PLAIN"); k++)
        if (controls[k].id == id) return &controls[k];
    return NULL;
}

static void keep(const char *how) {
    FILE *file = getenv("DEVICE_STATE") ? fopen(getenv("DEVICE_STATE"), how) : NULL;
    if (!file) return;
    for (int k = 0; k < 4; k++)
        if (*how == 'w') fprintf(file, "%d\n", controls[k].value);
        else if (fscanf(file, "%d", &controls[k].value) != 1) break;
    fclose(file);
}

static int open_device(void) {
    device = memfd_create("video", 0);
    if (ftruncate(device, BUFFERS * MOST)) return -1;
    memory = mmap(NULL, BUFFERS * MOST, PROT_READ | PROT_WRITE, MAP_SHARED, device, 0);
    given = first = last = 0;
    keep("r");
    return device;
}

int open(const char *path, int flags, ...) {
    va_list more;
    va_start(more, flags);
    mode_t mode = va_arg(more, mode_t);
    va_end(more);
    if (!strcmp(path, "/dev/video42")) return open_device();
    return ((int (*)(const char *, int, mode_t))dlsym(RTLD_NEXT, "open"))(path, flags, mode);
}
int open64(const char *path, int flags, ...) {
    va_list more;
    va_start(more, flags);
    mode_t mode = va_arg(more, mode_t);
    va_end(more);
    return open(path, flags, mode);
}

static int refused(int why) { errno = why; return -1; }

static int format(struct v4l2_format *asked, int set) {
    if (asked->type != V4L2_BUF_TYPE_VIDEO_CAPTURE) return refused(EINVAL);
    int large = set ? asked->fmt.pix.width > 640 : width > 640;
    if (set) { width = large ? 1280 : 640; height = large ? 720 : 480; }
    asked->fmt.pix.width = width;
    asked->fmt.pix.height = height;
    asked->fmt.pix.pixelformat = V4L2_PIX_FMT_YUYV;
    asked->fmt.pix.field = V4L2_FIELD_NONE;
    asked->fmt.pix.bytesperline = 2 * width;
    asked->fmt.pix.sizeimage = 2 * width * height;
    return 0;
}

static int dequeue(struct v4l2_buffer *buffer) {
    if (getenv("DEVICE_HANGS") && given == 2) for (;;) pause();
    if (getenv("DEVICE_GONE_AFTER") && given >= number("DEVICE_GONE_AFTER")) return refused(ENODEV);
    if (first == last) return refused(EAGAIN);
    buffer->index = queue[first++ % 64];
    buffer->bytesused = buffer->length = 2 * width * height;
    buffer->flags = V4L2_BUF_FLAG_MAPPED | V4L2_BUF_FLAG_DONE;
    int light = given++ < number("DEVICE_WARM_UP") ? 16 : 16 + controls[1].value / 10;
    unsigned char *at = memory + buffer->index * MOST;
    for (int k = 0; k < width * height; k++) { at[2 * k] = light; at[2 * k + 1] = 128; }
    return 0;
}

static int control(struct v4l2_control *asked, int set) {
    struct control *own = of(asked->id);
    if (!own) return refused(EINVAL);
    int fixed = asked->id == V4L2_CID_EXPOSURE_ABSOLUTE ? controls[0].value == 1
              : asked->id == V4L2_CID_WHITE_BALANCE_TEMPERATURE ? !controls[2].value : 1;
    if (set && !fixed) return refused(EACCES);
    if (set) {
        int value = asked->value;
        own->value = value < own->low ? own->low : value > own->high ? own->high : value;
        keep("w");
    }
    asked->value = own->value;
    return 0;
}

static int answer(unsigned long request, void *given_with) {
    switch (request) {
    case VIDIOC_QUERYCAP: {
        struct v4l2_capability *told = given_with;
        memset(told, 0, sizeof *told);
        strcpy((char *)told->driver, "test");
        told->device_caps = V4L2_CAP_VIDEO_CAPTURE | V4L2_CAP_STREAMING;
        told->capabilities = told->device_caps | V4L2_CAP_DEVICE_CAPS;
        return 0;
    }
    case VIDIOC_G_INPUT: *(int *)given_with = 0; return 0;
    case VIDIOC_S_INPUT: return *(int *)given_with ? refused(EINVAL) : 0;
    case VIDIOC_ENUMINPUT: return ((struct v4l2_input *)given_with)->index ? refused(EINVAL) : 0;
    case VIDIOC_G_FMT: return format(given_with, 0);
    case VIDIOC_S_FMT:
    case VIDIOC_TRY_FMT: return format(given_with, 1);
    case VIDIOC_G_PARM:
    case VIDIOC_S_PARM:
    case VIDIOC_STREAMON:
    case VIDIOC_STREAMOFF: return 0;
    case VIDIOC_REQBUFS: {
        struct v4l2_requestbuffers *asked = given_with;
        if (asked->count > BUFFERS) asked->count = BUFFERS;
        return 0;
    }
    case VIDIOC_QUERYBUF: {
        struct v4l2_buffer *buffer = given_with;
        buffer->length = 2 * width * height;
        buffer->m.offset = buffer->index * MOST;
        return 0;
    }
    case VIDIOC_QBUF: queue[last++ % 64] = ((struct v4l2_buffer *)given_with)->index; return 0;
    case VIDIOC_DQBUF: return dequeue(given_with);
    case VIDIOC_QUERYCTRL: {
        struct v4l2_queryctrl *asked = given_with;
        struct control *own = of(asked->id);
        if (!own) return refused(EINVAL);
        asked->type = V4L2_CTRL_TYPE_INTEGER;
        asked->minimum = own->low;
        asked->maximum = own->high;
        asked->step = 1;
        asked->flags = 0;
        return 0;
    }
    case VIDIOC_G_CTRL: return control(given_with, 0);
    case VIDIOC_S_CTRL: return control(given_with, 1);
    }
    return refused(ENOTTY);
}

int ioctl(int file, unsigned long request, ...) {
    va_list more;
    va_start(more, request);
    void *with = va_arg(more, void *);
    va_end(more);
    if (file == device && device >= 0) return answer((unsigned int)request, with);
    return ((int (*)(int, unsigned long, void *))dlsym(RTLD_NEXT, "ioctl"))(file, request, with);
}
