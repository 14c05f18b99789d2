/* A VISA library for tests: sessions, END, termination characters, time-outs, status byte and clear, as VPP-4.3 has them.
 * Its instruments stand on TCP ports of this machine: STANDIN_VISA="GPIB0::5::INSTR=5025,USB0::1::2::A::INSTR=5026".
 * Built by tests/drivers/test_standin_visa.py. */
#include <arpa/inet.h>
#include <errno.h>
#include <poll.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <unistd.h>

typedef int32_t Status;
typedef uint32_t Session;

enum { SESSIONS = 64, BUFFER = 1 << 17, MANAGER = 1 };
#define SUCCESS 0
#define SUCCESS_TERM_CHAR 0x3FFF0005
#define SUCCESS_MAX_CNT 0x3FFF0006
#define ERROR_INV_OBJECT ((Status)0xBFFF000E)
#define ERROR_RSRC_NFOUND ((Status)0xBFFF0011)
#define ERROR_TMO ((Status)0xBFFF0015)
#define ERROR_CONN_LOST ((Status)0xBFFF00A6)
#define ATTR_TMO 0x3FFF001A
#define ATTR_TERMCHAR 0x3FFF0018
#define ATTR_TERMCHAR_EN 0x3FFF0038
#define ATTR_RSRC_NAME 0xBFFF0002

struct device {
    int in_use, fd;
    uint32_t timeout_ms;
    char term;
    int term_enabled;
    char name[256];
    size_t held;
    char *buffer;
};

static struct device devices[SESSIONS];

static int port_of(const char *wanted) {
    const char *list = getenv("STANDIN_VISA");
    char entry[512];
    while (list && *list) {
        size_t length = strcspn(list, ",");
        snprintf(entry, sizeof entry, "%.*s", (int)length, list);
        char *equals = strrchr(entry, '=');
        if (equals) {
            *equals = 0;
            if (!strcasecmp(entry, wanted)) return atoi(equals + 1);
        }
        list += length + (list[length] == ',');
    }
    return 0;
}

static struct device *device_of(Session vi) {
    return vi >= 2 && vi < SESSIONS && devices[vi].in_use ? &devices[vi] : NULL;
}

/* What has come within the time: 1 data, 0 nothing, -1 the connection is gone. */
static int take(struct device *d, int wait_ms) {
    struct pollfd p = {d->fd, POLLIN, 0};
    if (poll(&p, 1, wait_ms) <= 0) return 0;
    ssize_t n = recv(d->fd, d->buffer + d->held, BUFFER - d->held, 0);
    if (n <= 0) return -1;
    d->held += (size_t)n;
    return 1;
}

Status viOpenDefaultRM(Session *vi) { *vi = MANAGER; return SUCCESS; }

Status viOpen(Session manager, const char *name, uint32_t mode, uint32_t timeout, Session *vi) {
    (void)mode, (void)timeout;
    int port = manager == MANAGER ? port_of(name) : 0;
    if (!port) return ERROR_RSRC_NFOUND;
    for (Session k = 2; k < SESSIONS; k++) {
        if (devices[k].in_use) continue;
        struct sockaddr_in where = {.sin_family = AF_INET, .sin_port = htons((uint16_t)port)};
        where.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
        if (connect(fd, (struct sockaddr *)&where, sizeof where)) { close(fd); return ERROR_RSRC_NFOUND; }
        devices[k] = (struct device){.in_use = 1, .fd = fd, .timeout_ms = 2000, .term = '\n', .buffer = malloc(BUFFER)};
        snprintf(devices[k].name, sizeof devices[k].name, "%s", name);
        *vi = k;
        return SUCCESS;
    }
    return ERROR_RSRC_NFOUND;
}

Status viClose(Session vi) {
    struct device *d = device_of(vi);
    if (d) { close(d->fd); free(d->buffer); d->in_use = 0; }
    return d || vi == MANAGER || vi == SESSIONS ? SUCCESS : ERROR_INV_OBJECT; /* the last one is the find list */
}

Status viWrite(Session vi, const char *data, uint32_t count, uint32_t *written) {
    struct device *d = device_of(vi);
    if (!d) return ERROR_INV_OBJECT;
    if (send(d->fd, data, count, MSG_NOSIGNAL) != (ssize_t)count) return ERROR_CONN_LOST;
    if (count && data[count - 1] != '\n') send(d->fd, "\n", 1, MSG_NOSIGNAL); /* END */
    *written = count;
    return SUCCESS;
}

Status viRead(Session vi, char *data, uint32_t count, uint32_t *got) {
    struct device *d = device_of(vi);
    if (!d) return ERROR_INV_OBJECT;
    *got = 0;
    char *end;
    while (!(end = memchr(d->buffer, '\n', d->held)) && d->held < count) {
        int found = take(d, (int)d->timeout_ms);
        if (found < 0) return ERROR_CONN_LOST;
        if (!found) return ERROR_TMO;
    }
    size_t whole = end ? (size_t)(end - d->buffer) + 1 : d->held;
    size_t part = whole <= count ? whole : count;
    memcpy(data, d->buffer, part);
    memmove(d->buffer, d->buffer + part, d->held - part);
    d->held -= part;
    *got = (uint32_t)part;
    if (part < whole || !end) return SUCCESS_MAX_CNT;
    return d->term_enabled && d->term == '\n' ? SUCCESS_TERM_CHAR : SUCCESS;
}

Status viReadSTB(Session vi, uint16_t *status) {
    struct device *d = device_of(vi);
    if (!d) return ERROR_INV_OBJECT;
    if (take(d, 0) < 0) return ERROR_CONN_LOST;
    *status = d->held ? 0x10 : 0; /* message available */
    return SUCCESS;
}

Status viClear(Session vi) {
    struct device *d = device_of(vi);
    if (!d) return ERROR_INV_OBJECT;
    while (take(d, 20) > 0) d->held = 0;
    d->held = 0;
    return SUCCESS;
}

Status viSetAttribute(Session vi, uint32_t name, uintptr_t value) {
    struct device *d = device_of(vi);
    if (d && name == ATTR_TMO) d->timeout_ms = (uint32_t)value;
    if (d && name == ATTR_TERMCHAR) d->term = (char)value;
    if (d && name == ATTR_TERMCHAR_EN) d->term_enabled = (int)value;
    return SUCCESS;
}

Status viGetAttribute(Session vi, uint32_t name, void *value) {
    struct device *d = device_of(vi);
    if (d && name == ATTR_TMO) *(uint32_t *)value = d->timeout_ms;
    else if (d && name == ATTR_TERMCHAR) *(uint8_t *)value = (uint8_t)d->term;
    else if (d && name == ATTR_TERMCHAR_EN) *(uint16_t *)value = (uint16_t)d->term_enabled;
    else if (d && name == ATTR_RSRC_NAME) strcpy(value, d->name);
    else *(uint32_t *)value = 0;
    return SUCCESS;
}

Status viDisableEvent(Session vi, uint32_t event, uint16_t mechanism) { (void)vi, (void)event, (void)mechanism; return SUCCESS; }
Status viDiscardEvents(Session vi, uint32_t event, uint16_t mechanism) { (void)vi, (void)event, (void)mechanism; return SUCCESS; }

Status viParseRsrc(Session vi, const char *name, uint16_t *type, uint16_t *number) {
    (void)vi;
    *type = !strncasecmp(name, "GPIB", 4) ? 1 : 7; /* else USB */
    *number = 0;
    return port_of(name) ? SUCCESS : ERROR_RSRC_NFOUND;
}

Status viParseRsrcEx(Session vi, const char *name, uint16_t *type, uint16_t *number, char *kind, char *full, char *alias) {
    strcpy(kind, "INSTR"), strcpy(full, name), *alias = 0;
    return viParseRsrc(vi, name, type, number);
}

Status viStatusDesc(Session vi, Status status, char *text) {
    (void)vi;
    sprintf(text, "status 0x%08X of the stand-in", (unsigned)status);
    return SUCCESS;
}

static const char *rest;

Status viFindNext(Session list, char *name) {
    (void)list;
    if (!rest || !*rest) return ERROR_RSRC_NFOUND;
    size_t length = strcspn(rest, "=");
    sprintf(name, "%.*s", (int)length, rest);
    rest += strcspn(rest, ",");
    rest += *rest == ',';
    return SUCCESS;
}

Status viFindRsrc(Session vi, const char *query, Session *list, uint32_t *count, char *name) {
    (void)vi, (void)query;
    *list = SESSIONS;
    *count = 0;
    rest = getenv("STANDIN_VISA");
    for (const char *at = rest; at && *at; at++) *count += *at == '=';
    return viFindNext(*list, name);
}
