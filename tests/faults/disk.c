/* Stands between a process and its files: notes every call that changes what a disk holds, and fails the one it is told to.
 *
 * Loaded with LD_PRELOAD; built by tests/src/disk/mod.rs with the system's C compiler. Linux and glibc.
 *
 *   GRITBOOK_DISK_ROOT   only files below this folder are looked at
 *   GRITBOOK_DISK_LOG    the notes go here (append); none without it
 *   GRITBOOK_DISK_FAIL   KIND:N - the Nth call of that kind fails, once; KIND+:N - it and all after it
 *                        kinds: write_eio write_enospc write_short read_eio read_short sync_eio rename_eio open_eio
 *
 * A note is 24 bytes of head (kind, fd with the process's number above 16 bits, offset, length of what follows: u32 u32 u64 u64, host order) and what follows: a path for
 * O (open), U (unlink), K (mkdir), two paths with a zero between for R (rename), bytes for W, nothing for T (truncate), S (sync),
 * C (close). What the process says on standard output is a note too (M), in the same order as its writes.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

#define MOST_FDS 4096
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static char watched[MOST_FDS];
static int log_fd = -2;
static const char *root;
static size_t root_length;
static char fail_kind[32];
static long fail_at, seen;
static int fail_on;

#define REAL(type, name, ...) \
    static type (*real)(__VA_ARGS__); \
    if (!real) real = (type (*)(__VA_ARGS__))dlsym(RTLD_NEXT, name)

static int real_open(const char *path, int flags, mode_t mode) {
    REAL(int, "open64", const char *, int, ...);
    return real(path, flags, mode);
}
static ssize_t real_write(int fd, const void *bytes, size_t count) {
    REAL(ssize_t, "write", int, const void *, size_t);
    return real(fd, bytes, count);
}

static void begin(void) {
    if (log_fd != -2) return;
    root = getenv("GRITBOOK_DISK_ROOT");
    root_length = root ? strlen(root) : 0;
    const char *log = getenv("GRITBOOK_DISK_LOG");
    log_fd = log ? real_open(log, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600) : -1;
    const char *fail = getenv("GRITBOOK_DISK_FAIL");
    const char *colon = fail ? strchr(fail, ':') : NULL;
    if (colon && (size_t)(colon - fail) < sizeof fail_kind) {
        memcpy(fail_kind, fail, (size_t)(colon - fail));
        char *plus = strchr(fail_kind, '+');
        if (plus) { fail_on = 1; *plus = 0; }
        fail_at = atol(colon + 1);
    }
}

/* SQLite's shared memory is no file to keep; `under_way` is the test process's own note, not the book's. */
static int ours(const char *path) {
    return root && !strstr(path, "under_way") && strncmp(path, root, root_length) == 0 && (path[root_length] == '/' || !path[root_length]) && !strstr(path, "-shm");
}
static int watching(int fd) { return fd >= 0 && fd < MOST_FDS && watched[fd]; }

/* Whether this call is the one to fail. */
static int fails(const char *kind) {
    if (!fail_at || strcmp(kind, fail_kind)) return 0;
    seen++;
    return fail_on ? seen >= fail_at : seen == fail_at;
}

static void note(char kind, int fd, uint64_t offset, const void *what, size_t length) {
    if (log_fd < 0) return;
    int kept = errno;
    struct { uint32_t kind, fd; uint64_t offset, length; } head = { (uint32_t)kind, ((uint32_t)getpid() << 16) | (uint32_t)fd, offset, length };
    struct iovec parts[2] = { { &head, sizeof head }, { (void *)what, length } };
    REAL(ssize_t, "writev", int, const struct iovec *, int);
    if (real(log_fd, parts, 2) != (ssize_t)(sizeof head + length)) abort();
    errno = kept;
}

static int opened(const char *path, int flags, mode_t mode) {
    pthread_mutex_lock(&lock);
    begin();
    int watch = ours(path);
    if (watch && (flags & O_ACCMODE) != O_RDONLY && fails("open_eio")) {
        pthread_mutex_unlock(&lock);
        errno = EIO;
        return -1;
    }
    int fd = real_open(path, flags, mode);
    if (fd >= 0 && fd < MOST_FDS) {
        watched[fd] = (char)watch;
        if (watch) note('O', fd, (uint64_t)(flags & (O_CREAT | O_TRUNC)), path, strlen(path));
    }
    pthread_mutex_unlock(&lock);
    return fd;
}
#define MODE() mode_t mode = 0; if (flags & (O_CREAT | __O_TMPFILE)) { va_list rest; va_start(rest, flags); mode = va_arg(rest, mode_t); va_end(rest); }
int open(const char *path, int flags, ...) { MODE(); return opened(path, flags, mode); }
int open64(const char *path, int flags, ...) { MODE(); return opened(path, flags, mode); }

int close(int fd) {
    REAL(int, "close", int);
    pthread_mutex_lock(&lock);
    if (watching(fd)) { note('C', fd, 0, "", 0); watched[fd] = 0; }
    int done = real(fd);
    pthread_mutex_unlock(&lock);
    return done;
}

/* What a write comes to: all of it, part of it, or an error. */
static size_t share(size_t count, int *error) {
    *error = 0;
    if (fails("write_eio")) *error = EIO;
    else if (fails("write_enospc")) *error = ENOSPC;
    else if (count > 1 && fails("write_short")) return count / 2;
    return count;
}

ssize_t write(int fd, const void *bytes, size_t count) {
    pthread_mutex_lock(&lock);
    begin();
    ssize_t done;
    if (watching(fd)) {
        int error;
        count = share(count, &error);
        if (error) {
            errno = error;
            done = -1;
        } else {
            done = real_write(fd, bytes, count);
            if (done > 0) note('W', fd, (uint64_t)(lseek(fd, 0, SEEK_CUR) - done), bytes, (size_t)done);
        }
    } else {
        /* Noted before it is said: nobody hears it earlier than the note stands. */
        if (fd == 1) note('M', fd, 0, bytes, count);
        done = real_write(fd, bytes, count);
    }
    pthread_mutex_unlock(&lock);
    return done;
}

static ssize_t written_at(int fd, const void *bytes, size_t count, off_t offset) {
    REAL(ssize_t, "pwrite64", int, const void *, size_t, off_t);
    pthread_mutex_lock(&lock);
    int error = 0;
    if (watching(fd)) count = share(count, &error);
    ssize_t done = -1;
    if (error) errno = error;
    else done = real(fd, bytes, count, offset);
    if (done > 0 && watching(fd)) note('W', fd, (uint64_t)offset, bytes, (size_t)done);
    pthread_mutex_unlock(&lock);
    return done;
}
ssize_t pwrite(int fd, const void *bytes, size_t count, off_t offset) { return written_at(fd, bytes, count, offset); }
ssize_t pwrite64(int fd, const void *bytes, size_t count, off_t offset) { return written_at(fd, bytes, count, offset); }

static int read_fault(int fd, size_t *count) {
    if (!watching(fd)) return 0;
    pthread_mutex_lock(&lock);
    int error = fails("read_eio") ? EIO : 0;
    if (!error && *count > 1 && fails("read_short")) *count /= 2;
    pthread_mutex_unlock(&lock);
    if (error) errno = error;
    return error;
}
ssize_t read(int fd, void *bytes, size_t count) {
    REAL(ssize_t, "read", int, void *, size_t);
    return read_fault(fd, &count) ? -1 : real(fd, bytes, count);
}
static ssize_t read_at(int fd, void *bytes, size_t count, off_t offset) {
    REAL(ssize_t, "pread64", int, void *, size_t, off_t);
    return read_fault(fd, &count) ? -1 : real(fd, bytes, count, offset);
}
ssize_t pread(int fd, void *bytes, size_t count, off_t offset) { return read_at(fd, bytes, count, offset); }
ssize_t pread64(int fd, void *bytes, size_t count, off_t offset) { return read_at(fd, bytes, count, offset); }

static int synced(int fd, const char *name) {
    static int (*sync_all)(int), (*sync_data)(int);
    if (!sync_all) { sync_all = (int (*)(int))dlsym(RTLD_NEXT, "fsync"); sync_data = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync"); }
    pthread_mutex_lock(&lock);
    int done = -1;
    if (watching(fd) && fails("sync_eio")) errno = EIO;
    else done = (strcmp(name, "fsync") ? sync_data : sync_all)(fd);
    if (!done && watching(fd)) note('S', fd, 0, "", 0);
    pthread_mutex_unlock(&lock);
    return done;
}
int fsync(int fd) { return synced(fd, "fsync"); }
int fdatasync(int fd) { return synced(fd, "fdatasync"); }

static int truncated(int fd, off_t length) {
    REAL(int, "ftruncate64", int, off_t);
    pthread_mutex_lock(&lock);
    int done = real(fd, length);
    if (!done && watching(fd)) note('T', fd, (uint64_t)length, "", 0);
    pthread_mutex_unlock(&lock);
    return done;
}
int ftruncate(int fd, off_t length) { return truncated(fd, length); }
int ftruncate64(int fd, off_t length) { return truncated(fd, length); }

int rename(const char *from, const char *to) {
    REAL(int, "rename", const char *, const char *);
    pthread_mutex_lock(&lock);
    begin();
    int done = -1;
    if (ours(from) && fails("rename_eio")) errno = EIO;
    else done = real(from, to);
    if (!done && ours(from)) {
        char both[2 * PATH_MAX];
        size_t first = strlen(from), second = strlen(to);
        memcpy(both, from, first + 1);
        memcpy(both + first + 1, to, second);
        note('R', 0, 0, both, first + 1 + second);
    }
    pthread_mutex_unlock(&lock);
    return done;
}

static int named(const char *path, char kind, int done) {
    if (!done && ours(path)) note(kind, 0, 0, path, strlen(path));
    return done;
}
int unlink(const char *path) {
    REAL(int, "unlink", const char *);
    pthread_mutex_lock(&lock);
    begin();
    int done = named(path, 'U', real(path));
    pthread_mutex_unlock(&lock);
    return done;
}
int mkdir(const char *path, mode_t mode) {
    REAL(int, "mkdir", const char *, mode_t);
    pthread_mutex_lock(&lock);
    begin();
    int done = named(path, 'K', real(path, mode));
    pthread_mutex_unlock(&lock);
    return done;
}
