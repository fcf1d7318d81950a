#pragma once
#include <unistd.h>

#include <utility>

namespace hushtrace {

/// An open file of the system's, closed with its owner.
class FileDescriptor {
public:
    FileDescriptor() = default;
    explicit FileDescriptor(int number) : number_(number) {}
    ~FileDescriptor() { close(); }
    FileDescriptor(FileDescriptor&& other) noexcept : number_(std::exchange(other.number_, -1)) {}
    FileDescriptor& operator=(FileDescriptor&& other) noexcept {
        if (this != &other) {
            close();
            number_ = std::exchange(other.number_, -1);
        }
        return *this;
    }
    explicit operator bool() const { return number_ >= 0; }
    int get() const { return number_; }
    /// Returns what close() said: 0, or -1 with errno set.
    int close() {
        const int number = std::exchange(number_, -1);
        return number >= 0 ? ::close(number) : 0;
    }

private:
    int number_ = -1;
};

}  // namespace hushtrace
