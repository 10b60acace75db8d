#include "service/score_stream.h"

namespace plumblane {

void ScoreStream::Offer(const std::shared_ptr<const ScoreTable>& table) {
  {
    const std::lock_guard lock(mutex());
    teller_.Offer(table);
  }
  Next();
}

void ScoreStream::OnDone() {
  service_.Forget(this);
  delete this;
}

}  // namespace plumblane
