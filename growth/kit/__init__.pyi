from growth.kit.kit_files import Kit as Kit
from growth.kit.kit_files import KitFile as KitFile
from growth.kit.kit_files import make_kit as make_kit
from growth.kit.web_site import PublishedSite as PublishedSite
from growth.kit.web_site import publish_site as publish_site
