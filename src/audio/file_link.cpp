#include <memory>

#include "hushtrace/audio/link.hpp"
#include "hushtrace/signal/take_file.hpp"
#include "pace.hpp"

namespace hushtrace {
namespace {

constexpr std::size_t frames_per_transfer = 2048;

class FileLink final : public Link {
public:
    FileLink(const std::filesystem::path& file, bool paced)
        : file_(file), reader_(file), pace_(paced, reader_.sample_rate_hz()) {}

    std::string name() const override { return file_.filename().string(); }
    double sample_rate_hz() const override { return reader_.sample_rate_hz(); }
    std::size_t input_channels() const override { return reader_.channels(); }
    bool ends_by_itself() const override { return true; }
    void start() override { pace_.start(); }
    LinkNotice transfer(const PlaySupply&, Block& captured) override {
        const std::size_t count = reader_.read(captured, frames_per_transfer);
        pace_.wait_for(count);
        LinkNotice notice;
        notice.ended = count == 0;
        return notice;
    }
    void stop() noexcept override {}

private:
    std::filesystem::path file_;
    TakeReader reader_;
    audio::Pace pace_;
};

}  // namespace

std::unique_ptr<Link> open_file_link(const std::filesystem::path& file, bool paced) {
    return std::make_unique<FileLink>(file, paced);
}

}  // namespace hushtrace
