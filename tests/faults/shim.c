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
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/types.h>
#include <unistd.h>

struct plan { volatile int32_t armed_calls, times, error, kinds, seen, failed; };
enum { WRITE = 1, SYNC = 2, TRUNCATE = 4, RENAME = 8 };

static struct plan *plan;
static const char *word;

__attribute__((constructor)) static void read_plan(void) {
    const char *name = getenv("FAULT_PLAN");
    word = getenv("FAULT_WORD");
    int fd = name ? open(name, O_RDWR | O_CLOEXEC) : -1;
    if (fd < 0) return;
    void *at = mmap(NULL, sizeof *plan, PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    if (at != MAP_FAILED) plan = at;
    close(fd);
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
    char link[64], path[4096];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = readlink(link, path, sizeof path - 1);
    if (n < 0) return 0;
    path[n] = 0;
    return is_to_fail(kind, path);
}

#define REAL(name) \
    static __typeof__(name) *real; \
    if (!real) real = (__typeof__(name) *)dlsym(RTLD_NEXT, #name)

ssize_t pwrite64(int fd, const void *bytes, size_t n, off64_t at) {
    REAL(pwrite64);
    if (fd_is_to_fail(WRITE, fd)) { int e = errno; real(fd, bytes, n / 2, at); errno = e; return -1; }
    return real(fd, bytes, n, at);
}

ssize_t write(int fd, const void *bytes, size_t n) {
    REAL(write);
    if (fd_is_to_fail(WRITE, fd)) { int e = errno; real(fd, bytes, n / 2); errno = e; return -1; }
    return real(fd, bytes, n);
}

int fdatasync(int fd) {
    REAL(fdatasync);
    return fd_is_to_fail(SYNC, fd) ? -1 : real(fd);
}

int fsync(int fd) {
    REAL(fsync);
    return fd_is_to_fail(SYNC, fd) ? -1 : real(fd);
}

int ftruncate64(int fd, off64_t n) {
    REAL(ftruncate64);
    return fd_is_to_fail(TRUNCATE, fd) ? -1 : real(fd, n);
}

int rename(const char *from, const char *to) {
    REAL(rename);
    return is_to_fail(RENAME, from) ? -1 : real(from, to);
}
