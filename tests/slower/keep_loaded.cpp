// Preloaded in builds that a sanitizer watches (.ci/sanitize): libraries that a library loaded stay loaded. One of a sound system's forgets
// some memory when it is unloaded, and what it leaves has no name any more by which it could be told from a leak of the program's own.
extern "C" int dlclose(void*) {
    return 0;
}
