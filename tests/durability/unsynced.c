/* Preloaded into a process: what it writes to files of some prefix, and when it asks for them to be on the disk, is noted.

   UNSYNCED_FILES: the prefix. UNSYNCED_LOG: where notes go, one each: act, offset, length of data, length of name, then both.
   A write is noted before it is made, a sync after it is done and before the caller knows.
   UNSYNCED_REFUSE: while there is a file of that name, such files cannot be written: as when the system, after errors of a
   disk, goes on with it read-only. */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

static int notes = -1;
static const char *prefix;

__attribute__((constructor)) static void begin(void) {
  const char *log = getenv("UNSYNCED_LOG");
  prefix = getenv("UNSYNCED_FILES");
  if (prefix && log) notes = open(log, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600);
}

/* Whether it is a file of the prefix, with its name. */
static int ours(int fd, char *name, size_t most, ssize_t *length) {
  char link[40];
  if (notes < 0) return 0;
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  *length = readlink(link, name, most);
  return *length > 0 && (size_t)*length >= strlen(prefix) && !strncmp(name, prefix, strlen(prefix));
}

static int refused(int fd) {
  char name[4096];
  ssize_t length;
  const char *sign = getenv("UNSYNCED_REFUSE");
  if (!sign || !ours(fd, name, sizeof name, &length) || access(sign, F_OK)) return 0;
  errno = EROFS;
  return 1;
}

static void note(uint64_t act, int fd, uint64_t at, const void *data, uint64_t size) {
  char name[4096];
  ssize_t length;
  if (!ours(fd, name, sizeof name, &length)) return;
  uint64_t head[4] = {act, at, size, (uint64_t)length};
  struct iovec parts[3] = {{head, sizeof head}, {name, (size_t)length}, {(void *)data, size}};
  if (writev(notes, parts, 3) != (ssize_t)(sizeof head + (size_t)length + size)) abort();
}

ssize_t pwrite64(int fd, const void *data, size_t size, off64_t at) {
  if (refused(fd)) return -1;
  note('w', fd, (uint64_t)at, data, size);
  return syscall(SYS_pwrite64, fd, data, size, at);
}
ssize_t pwrite(int fd, const void *data, size_t size, off_t at) { return pwrite64(fd, data, size, at); }

ssize_t write(int fd, const void *data, size_t size) {
  if (refused(fd)) return -1;
  off_t at = lseek(fd, 0, SEEK_CUR);
  if (at >= 0) note('w', fd, (uint64_t)at, data, size);
  return syscall(SYS_write, fd, data, size);
}

int ftruncate64(int fd, off64_t size) {
  if (refused(fd)) return -1;
  note('t', fd, (uint64_t)size, 0, 0);
  return (int)syscall(SYS_ftruncate, fd, size);
}
int ftruncate(int fd, off_t size) { return ftruncate64(fd, size); }

int fdatasync(int fd) {
  int done = (int)syscall(SYS_fdatasync, fd);
  if (!done) note('s', fd, 0, 0, 0);
  return done;
}
int fsync(int fd) {
  int done = (int)syscall(SYS_fsync, fd);
  if (!done) note('s', fd, 0, 0, 0);
  return done;
}
