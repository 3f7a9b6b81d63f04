/* Stands between SQLite and the disk, for tests: notes every write, sync and truncate of files in one folder, and can
   fail or end the process at a chosen one. Loaded with LD_PRELOAD. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int log_fd = -2;
static long counted = 0;

/* the name of a file in the watched folder, or NULL */
static const char *watched(int fd, char *into) {
  const char *folder = getenv("DISK_FOLDER");
  char link[64];
  if (!folder) return NULL;
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  ssize_t length = readlink(link, into, 4095);
  if (length <= 0) return NULL;
  into[length] = 0;
  size_t most = strlen(folder);
  return strncmp(into, folder, most) == 0 && into[most] == '/' ? into + most + 1 : NULL;
}

/* note one event; say whether it is the one that goes wrong */
static int event(char kind, const char *name, int64_t at, const void *bytes, int64_t count) {
  static ssize_t (*plain)(int, const void *, size_t);
  if (!plain) plain = dlsym(RTLD_NEXT, "write");
  if (log_fd == -2) log_fd = getenv("DISK_LOG_FD") ? atoi(getenv("DISK_LOG_FD")) : -1;
  int acknowledgement = strcmp(name, "told") == 0;
  if (!acknowledgement) {
    const char *at_text = getenv("DISK_FAIL_AT");
    if (at_text && ++counted == atol(at_text)) {
      if (strcmp(getenv("DISK_FAIL_HOW"), "kill") == 0) _exit(9);
      return 1;
    }
  }
  if (log_fd >= 0) {
    int64_t head[3] = {(int64_t)strlen(name), at, count};
    plain(log_fd, &kind, 1);
    plain(log_fd, head, sizeof head);
    plain(log_fd, name, strlen(name));
    if (bytes) plain(log_fd, bytes, count);
  }
  return 0;
}

#define REAL(type, name, ...) static type (*real)(__VA_ARGS__); if (!real) real = dlsym(RTLD_NEXT, name)

static ssize_t put(int fd, const void *bytes, size_t count, int64_t at, ssize_t (*real)(int, const void *, size_t, off64_t)) {
  char path[4096];
  const char *name = watched(fd, path);
  if (name && event('W', name, at, bytes, count)) { errno = EIO; return -1; }
  return real(fd, bytes, count, at);
}

ssize_t pwrite64(int fd, const void *bytes, size_t count, off64_t at) {
  REAL(ssize_t, "pwrite64", int, const void *, size_t, off64_t);
  return put(fd, bytes, count, at, real);
}

ssize_t pwrite(int fd, const void *bytes, size_t count, off_t at) {
  REAL(ssize_t, "pwrite64", int, const void *, size_t, off64_t);
  return put(fd, bytes, count, at, real);
}

ssize_t write(int fd, const void *bytes, size_t count) {
  REAL(ssize_t, "write", int, const void *, size_t);
  char path[4096];
  const char *name = fd > 2 && fd != log_fd ? watched(fd, path) : NULL;
  int from = name && fcntl(fd, F_GETFL) & O_APPEND ? SEEK_END : SEEK_CUR;
  if (name && event('W', name, lseek64(fd, 0, from), bytes, count)) { errno = EIO; return -1; }
  return real(fd, bytes, count);
}

static int synced(int fd, int (*real)(int)) {
  char path[4096];
  const char *name = watched(fd, path);
  if (name && event('S', name, 0, NULL, 0)) { errno = EIO; return -1; }
  return real(fd);
}

int fsync(int fd) { REAL(int, "fsync", int); return synced(fd, real); }
int fdatasync(int fd) { REAL(int, "fdatasync", int); return synced(fd, real); }

static int cut(int fd, int64_t size, int (*real)(int, off64_t)) {
  char path[4096];
  const char *name = watched(fd, path);
  if (name && event('T', name, size, NULL, 0)) { errno = EIO; return -1; }
  return real(fd, size);
}

int ftruncate64(int fd, off64_t size) { REAL(int, "ftruncate64", int, off64_t); return cut(fd, size, real); }
int ftruncate(int fd, off_t size) { REAL(int, "ftruncate64", int, off64_t); return cut(fd, size, real); }
