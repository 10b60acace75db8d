// Preloaded into a process: makes writing to files under a directory fail or hang on command.
//
//   FAIL_IO_UNDER=DIR    paths that are meant
//   FAIL_IO_COMMAND=FILE looked at before each call: while it holds "CALL ERROR", calls of that name
//                        fail with that errno (EIO, ENOSPC); "CALL stall" waits until the file is
//                        gone; "sync none" says that all is well and does nothing. CALL: sync,
//                        write, rename
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static int (*real_open)(const char*, int, ...);

__attribute__((constructor)) static void find(void) { real_open = dlsym(RTLD_NEXT, "open"); }

// errno to fail with; 0 = go on.
static int asked(const char* call) {
  const char* command = getenv("FAIL_IO_COMMAND");
  if (command == NULL || real_open == NULL) return 0;
  for (;;) {
    char text[64] = {0}, name[16] = {0}, error[16] = {0};
    const int fd = real_open(command, O_RDONLY | O_CLOEXEC);
    if (fd < 0) return 0;
    const ssize_t count = read(fd, text, sizeof text - 1);
    close(fd);
    if (count <= 0 || sscanf(text, "%15s %15s", name, error) != 2) return 0;
    if (strcmp(name, call) != 0) return 0;
    if (strcmp(error, "EIO") == 0) return EIO;
    if (strcmp(error, "ENOSPC") == 0) return ENOSPC;
    if (strcmp(error, "none") == 0) return -1;
    usleep(20000);
  }
}

static int meant(const char* path) {
  const char* under = getenv("FAIL_IO_UNDER");
  return under != NULL && strncmp(path, under, strlen(under)) == 0;
}

static int fails(const char* call, int fd) {
  char link[40], path[PATH_MAX];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  const ssize_t length = readlink(link, path, sizeof path - 1);
  if (length <= 0) return 0;
  path[length] = 0;
  if (!meant(path)) return 0;
  const int error = asked(call);
  if (error > 0) errno = error;
  return error;
}

// What a call returns instead of going on; 1: it goes on.
static int instead(const char* call, int fd) {
  const int error = fails(call, fd);
  return error == 0 ? 1 : error > 0 ? -1 : 0;
}

#define REAL(name, type) __typeof__(type) real = (__typeof__(type))dlsym(RTLD_NEXT, name)

int fsync(int fd) {
  REAL("fsync", int (*)(int));
  const int result = instead("sync", fd);
  return result <= 0 ? result : real(fd);
}
int fdatasync(int fd) {
  REAL("fdatasync", int (*)(int));
  const int result = instead("sync", fd);
  return result <= 0 ? result : real(fd);
}
ssize_t write(int fd, const void* data, size_t size) {
  REAL("write", ssize_t(*)(int, const void*, size_t));
  return fails("write", fd) ? -1 : real(fd, data, size);
}
ssize_t pwrite(int fd, const void* data, size_t size, off_t at) {
  REAL("pwrite", ssize_t(*)(int, const void*, size_t, off_t));
  return fails("write", fd) ? -1 : real(fd, data, size, at);
}
ssize_t pwrite64(int fd, const void* data, size_t size, off64_t at) {
  REAL("pwrite64", ssize_t(*)(int, const void*, size_t, off64_t));
  return fails("write", fd) ? -1 : real(fd, data, size, at);
}
int rename(const char* from, const char* to) {
  REAL("rename", int (*)(const char*, const char*));
  const int error = meant(to) ? asked("rename") : 0;
  if (error != 0) errno = error;
  return error != 0 ? -1 : real(from, to);
}
