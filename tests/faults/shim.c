/* Makes the n-th write, sync, truncation or rename of a process fail, for files whose path holds a word.
 *
 * LD_PRELOAD this; FAULT_PLAN names a file that the process and the test both map:
 *   int32 armed_calls   fails each matching call from the n-th on; 0: none
 *   int32 times         how many fail; -1: all until disarmed
 *   int32 error         errno to fail with
 *   int32 kinds         bits: 1 write, 2 sync, 4 truncate, 8 rename
 *   int32 seen          matching calls so far, counted here
 *   int32 failed        calls that were made to fail, counted here
 * A write that fails writes half of its bytes first: what a full or broken disk leaves behind is torn.
 *
 * FAULT_JOURNAL names a file to which every write, sync, truncation, rename and deletion is appended when it is done,
 * for faults/power.py to make of it what a disk may hold after a power cut: kind, length of the path, inode, offset,
 * length of the data, as int32, int32 and three int64; then the path and the data.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

struct plan { volatile int32_t armed_calls, times, error, kinds, seen, failed; };
enum { WRITE = 1, SYNC = 2, TRUNCATE = 4, RENAME = 8, UNLINK = 16 };

static struct plan *plan;
static const char *word;
static int journal = -1;
static pthread_mutex_t turn = PTHREAD_MUTEX_INITIALIZER;

__attribute__((constructor)) static void read_plan(void) {
    const char *name = getenv("FAULT_PLAN");
    word = getenv("FAULT_WORD");
    int fd = name ? open(name, O_RDWR | O_CLOEXEC) : -1;
    if (fd < 0) return;
    void *at = mmap(NULL, sizeof *plan, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    if (at != MAP_FAILED) plan = at;
    close(fd);
    const char *journal_name = getenv("FAULT_JOURNAL");
    if (journal_name) journal = open(journal_name, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}

#define REAL(name) \
    static __typeof__(name) *real; \
    if (!real) real = (__typeof__(name) *)dlsym(RTLD_NEXT, #name)

static void put(const void *bytes, size_t n) {
    static ssize_t (*real)(int, const void *, size_t);
    if (!real) real = (__typeof__(real))dlsym(RTLD_NEXT, "write");
    for (ssize_t done; n; bytes = (const char *)bytes + done, n -= done)
        if ((done = real(journal, bytes, n)) <= 0) abort();
}

static void note(int kind, const char *path, int64_t inode, int64_t at, const void *bytes, size_t n) {
    if (journal < 0 || !word || !strstr(path, word)) return;
    int error = errno;
    struct { int32_t kind, path_length; int64_t inode, at, n; } head = {kind, (int32_t)strlen(path), inode, at, n};
    pthread_mutex_lock(&turn);
    put(&head, sizeof head);
    put(path, strlen(path));
    put(bytes, n);
    pthread_mutex_unlock(&turn);
    errno = error;
}

static int path_of(int fd, char *path, size_t n) {
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, path, n - 1);
    if (length < 0) return 0;
    path[length] = 0;
    return 1;
}

static void note_fd(int kind, int fd, int64_t at, const void *bytes, size_t n) {
    char path[4096];
    struct stat found;
    if (journal >= 0 && path_of(fd, path, sizeof path) && !fstat(fd, &found))
        note(kind, path, found.st_ino, at, bytes, n);
}

static int is_to_fail(int kind, const char *path) {
    if (!plan || !word || !strstr(path, word) || !(plan->kinds & kind)) return 0;
    int32_t n = ++plan->seen;
    if (!plan->armed_calls || n < plan->armed_calls) return 0;
    if (plan->times >= 0 && n >= plan->armed_calls + plan->times) return 0;
    plan->failed++;
    errno = plan->error;
    return 1;
}

static int fd_is_to_fail(int kind, int fd) {
    char path[4096];
    return path_of(fd, path, sizeof path) && is_to_fail(kind, path);
}

ssize_t pwrite64(int fd, const void *bytes, size_t n, off64_t at) {
    REAL(pwrite64);
    if (fd_is_to_fail(WRITE, fd)) { int e = errno; real(fd, bytes, n / 2, at); errno = e; return -1; }
    ssize_t done = real(fd, bytes, n, at);
    if (done > 0) note_fd(WRITE, fd, at, bytes, done);
    return done;
}

ssize_t write(int fd, const void *bytes, size_t n) {
    REAL(write);
    if (fd_is_to_fail(WRITE, fd)) { int e = errno; real(fd, bytes, n / 2); errno = e; return -1; }
    ssize_t done = real(fd, bytes, n);
    if (done > 0 && journal >= 0) note_fd(WRITE, fd, lseek64(fd, 0, SEEK_CUR) - done, bytes, done);
    return done;
}

int fdatasync(int fd) {
    REAL(fdatasync);
    if (fd_is_to_fail(SYNC, fd)) return -1;
    int done = real(fd);
    if (!done) note_fd(SYNC, fd, 0, "", 0);
    return done;
}

int fsync(int fd) {
    REAL(fsync);
    if (fd_is_to_fail(SYNC, fd)) return -1;
    int done = real(fd);
    if (!done) note_fd(SYNC, fd, 0, "", 0);
    return done;
}

int ftruncate64(int fd, off64_t n) {
    REAL(ftruncate64);
    if (fd_is_to_fail(TRUNCATE, fd)) return -1;
    int done = real(fd, n);
    if (!done) note_fd(TRUNCATE, fd, n, "", 0);
    return done;
}

int rename(const char *from, const char *to) {
    REAL(rename);
    if (is_to_fail(RENAME, from)) return -1;
    int done = real(from, to);
    if (!done) note(RENAME, from, 0, 0, to, strlen(to));
    return done;
}

int unlink(const char *path) {
    REAL(unlink);
    int done = real(path);
    if (!done) note(UNLINK, path, 0, 0, "", 0);
    return done;
}
